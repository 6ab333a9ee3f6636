"""The app as a real process: whoever stops the command stops the server behind it."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0


def listens(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def wait_until(port: int, *, open_: bool) -> bool:
    """Wait until somebody listens on a port, or nobody any longer; return whether that came."""
    until = time.monotonic() + PATIENCE_S
    while listens(port) != open_:
        if time.monotonic() > until:
            return False
        time.sleep(0.1)
    return True


@pytest.mark.skipif(sys.platform == "win32", reason="signals of this kind are POSIX's")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_signal_to_the_command_alone_ends_the_server_too(name: str, tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    command = [sys.executable, "-m", "diagnostics.cli.main", "app", "--port", str(port), "--headless"]
    store = f"sqlite:///{tmp_path / 'cases.sqlite3'}"
    environment = {**os.environ, "OHMWARD_STORE": store, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, cwd=ROOT, env=environment, start_new_session=True)
    try:
        assert wait_until(port, open_=True)
        os.kill(process.pid, getattr(signal, name))
        assert process.wait(PATIENCE_S) == 0
        assert wait_until(port, open_=False)
    finally:
        with contextlib.suppress(ProcessLookupError):  # nobody is left of the group: that is what is asked for
            os.killpg(process.pid, signal.SIGKILL)
        process.wait(PATIENCE_S)
