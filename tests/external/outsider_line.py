"""The outsider's telephone to the program: its command line, and nothing else.

The command line's one entry point is called in this process with a list of words, its output taken from standard output
and its input laid on standard input, as a shell would; that is twenty times quicker than one process a question.
``OHMWARD_OUTSIDER_SHELL=1`` asks through a shell's way instead: a process for each question.
"""

import contextlib
import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from diagnostics.cli.main import run as run_command_line  # the command line itself, called with its words

ROOT = Path(__file__).parents[2]
SITES = tuple(sorted((Path(__file__).parent / "outsider_sites").glob("*.yaml")))
DEFAULT_PROFILES = {"two_wire": "smoke_two_wire", "four_wire": "smoke_four_wire"}

Row = dict[str, Any]


def ask(*words: str, text: str | None = None) -> Row:
    """Run one command of the program with ``--json`` and return its object; any other end is an AssertionError."""
    call = ask_shell if os.environ.get("OHMWARD_OUTSIDER_SHELL") == "1" else ask_here
    code, out, err = call([*words, "--json"], text or "")
    assert code == 0, f"{words}: {out[-1500:]}{err[-1500:]}"
    answer: Row = json.loads(out)
    return answer


def ask_here(words: list[str], text: str) -> tuple[int, str, str]:
    """Return exit code, standard output and standard error of a command run in this process."""
    out, err, own_stdin = io.StringIO(), io.StringIO(), sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8")
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run_command_line(words)
    finally:
        sys.stdin = own_stdin
    return code, out.getvalue(), err.getvalue()


def ask_shell(words: list[str], text: str) -> tuple[int, str, str]:
    """Return exit code, standard output and standard error of a command run in a process of its own."""
    command = [sys.executable, "-m", "diagnostics.cli.main", *words]
    done = subprocess.run(command, cwd=ROOT, input=text, capture_output=True, text=True, timeout=300, check=False)
    return done.returncode, done.stdout, done.stderr


@cache
def listed(what: str, site: Path | None = None) -> tuple[Row, ...]:
    """Return the rows of ``list WHAT [SITE]``."""
    return tuple(ask("list", what, *([str(site)] if site else []))["rows"])


def style_of(site: Path) -> str:
    """Return the wiring style that a site file states."""
    found = re.search(r"^\s*style: (\w+)", site.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert found, site
    return found[1]


@cache
def senses_of(site: Path) -> Mapping[str, str]:
    """Return what each detector senses, fire or co, by site file and profiles."""
    loop = yaml.safe_load(site.read_text(encoding="utf-8"))["loops"][0]  # noqa: TID251  an outsider has no inside reader
    profiles = {row["profile"]: row["values"] for row in listed("profiles")}
    default = next(name for word, name in DEFAULT_PROFILES.items() if word in loop["style"])
    each = loop.get("each", {})
    rows = [{**each, **row} for row in loop.get("detectors", [{}] * loop.get("count", 0))]
    sensed = [
        row.get("values", {}).get("senses") or profiles[row.get("profile", default)]["senses"]["default"]
        for row in rows
    ]
    return {f"det{n + 1}": str(word) for n, word in enumerate(sensed)}
