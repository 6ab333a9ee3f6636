# ruff: noqa: INP001 - a script, not a package
"""Make the pictures of the README: one visit in a real browser, each screen kept in ``.pictures/``."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def make_pictures() -> int:
    """Run the visits in a browser with ``OHMWARD_PICTURES`` set, and return their exit code."""
    folder = ROOT / ".pictures"
    folder.mkdir(exist_ok=True)
    environment = {**os.environ, "OHMWARD_PICTURES": str(folder)}
    command = [sys.executable, "-m", "pytest", "-q", "tests/browser/test_one_case.py"]
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode  # noqa: S603 - our own arguments


if __name__ == "__main__":
    sys.exit(make_pictures())
