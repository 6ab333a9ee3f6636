"""The repository keeps its own rules: lint, format, types, layers, data files, layout."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    "README.md", "DEVELOPERS.md", "app.py", "diagnostics", "trees", "tests", "cases", "pyproject.toml", ".ci",
    ".pictures", ".streamlit", ".gitignore", ".yamllint.yaml",
}  # fmt: skip


def _run(*words: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, timeout=600, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_lint_is_green() -> None:
    _run("ruff", "check", ".")


def test_format_is_green() -> None:
    _run("ruff", "format", "--check", ".")


def test_types_are_green() -> None:
    _run("mypy")


def test_layers_are_kept() -> None:
    _run_script("lint-imports")


def test_data_files_are_tidy() -> None:
    _run("yamllint", "--strict", "diagnostics", "cases", "trees", "tests")


def _run_script(name: str) -> None:
    program = Path(sys.executable).with_name(name)
    done = subprocess.run([str(program)], cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def _list_tracked() -> list[str]:
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
    if done.returncode:
        pytest.skip("not a git checkout (package git)")
    return done.stdout.splitlines()


def test_top_level_holds_nothing_else() -> None:
    assert {name.partition("/")[0] for name in _list_tracked()} <= TOP


def test_modules_stay_below_four_hundred_lines() -> None:
    long = {p: n for p in (ROOT / "diagnostics").rglob("*.py") if (n := len(p.read_text("utf-8").splitlines())) > 400}
    assert long == {}
