"""A program that is absent must not make the tests look green: it is named, and with CI=true it is an error."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
NEEDS_NGSPICE = "tests/external/test_published_circuits.py::test_ngspice_is_there"


def run_without_programs(ci: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PATH": "", "CI": ci}
    words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", NEEDS_NGSPICE]
    return subprocess.run(words, cwd=ROOT, env=env, capture_output=True, text=True, timeout=60, check=False)


def test_absent_program_is_named_with_its_package() -> None:
    done = run_without_programs("")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "1 tests not run: needs the program ngspice (Debian package ngspice)" in done.stdout


def test_absent_program_is_an_error_in_ci() -> None:
    done = run_without_programs("true")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "needs the program ngspice (Debian package ngspice)" in done.stdout
