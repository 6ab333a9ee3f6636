"""Programs that some tests need: looked for, named when absent, and required where CI=true."""

import importlib.util
import os
import shutil

import pytest

_NEEDS = "needs the program"


def require_program(program: str, brought_by: str, *modules: str) -> str:
    """Return the path of a program; without it, or without a Python module, skip, or fail where ``CI=true``."""
    found = shutil.which(program)
    if found is not None and all(importlib.util.find_spec(name) for name in modules):
        return found
    reason = f"{_NEEDS} {program} ({brought_by})"
    if os.environ.get("CI") == "true":
        pytest.fail(reason, pytrace=False)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def ngspice() -> str:
    """Find the ngspice program."""
    return require_program("ngspice", "Debian package ngspice")


@pytest.fixture(scope="session")
def chromium() -> str:
    """Find the chromium program; the extra brings what drives it."""
    return require_program("chromium", "Debian package chromium, and the extra: browser", "playwright")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name each program that was absent, what brings it, and how many tests did not run for want of it."""
    skipped = [r.longrepr[2].removeprefix("Skipped: ") for r in terminalreporter.stats.get("skipped", [])]
    wants = [reason for reason in skipped if reason.startswith(_NEEDS)]
    if wants:
        terminalreporter.section("programs that are absent")
    for reason in sorted(set(wants)):
        terminalreporter.line(f"{wants.count(reason)} tests not run: {reason}")
