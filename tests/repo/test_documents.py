"""README and DEVELOPERS say what the program does today."""

import re
from pathlib import Path

import pytest

from diagnostics.cli.main import build_parser
from diagnostics.locate import find_shipped

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text("utf-8")
COMMANDS = sorted(next(a.choices for a in build_parser()._actions if isinstance(a.choices, dict)))  # noqa: SLF001


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"`ohmward {command}" in README


def test_each_of_the_two_commands_is_one_line_that_makes_its_own_venv() -> None:
    lines = [line for line in README.splitlines() if line.startswith("python3 -m venv .venv && ")]
    assert [line.rsplit(" ", 1)[1] for line in lines] == ["demo", ".venv/bin/pytest"]


def test_every_dependency_has_its_reason() -> None:
    wanted = re.findall(r'^  "([A-Za-z0-9-]+)[><=]', (ROOT / "pyproject.toml").read_text("utf-8"), re.MULTILINE)
    told = (ROOT / "DEVELOPERS.md").read_text("utf-8").lower()
    assert [name for name in wanted if name.lower() not in told and not re.search("stubs|^types-", name)] == []


def test_shipped_files_are_found_from_the_checkout() -> None:
    assert find_shipped("cases").is_dir()
    with pytest.raises(FileNotFoundError):
        find_shipped("no-such-thing")
