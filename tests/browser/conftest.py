"""The app as a child process with a store of its own, and a real browser of the system to look at it."""

import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0


def find_free_port() -> int:
    """Return a port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(url: str, process: "subprocess.Popen[bytes]") -> None:
    """Wait until the app answers; fails when it ends or stays silent."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        if process.poll() is not None:
            pytest.fail(f"the app ended at once with {process.returncode}")
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=2):  # noqa: S310 - our own address
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    pytest.fail(f"the app did not answer within {PATIENCE_S:g} s")


@pytest.fixture(scope="module")
def store_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return where the app keeps its cases."""
    return f"sqlite:///{tmp_path_factory.mktemp('store') / 'cases.sqlite3'}"


@pytest.fixture(scope="module")
def app_url(store_url: str) -> Iterator[str]:
    """Start ``ohmward`` as people do, with an empty store."""
    port = find_free_port()
    command = [sys.executable, "-m", "diagnostics.cli.main", "app", "--port", str(port), "--headless"]
    environment = {**os.environ, "OHMWARD_STORE": store_url, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, cwd=ROOT, env=environment, start_new_session=True)
    try:
        wait_for(f"http://127.0.0.1:{port}", process)
        yield f"http://127.0.0.1:{port}"
    finally:
        os.killpg(process.pid, 15)
        process.wait(20)


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator["Browser"]:
    """Start the system's chromium once a module."""
    from playwright.sync_api import sync_playwright

    flags = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=chromium, args=flags)
        yield found
        found.close()
