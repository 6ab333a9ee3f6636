"""The app serves its pages on a machine that has no way out: nothing it needs is fetched from elsewhere.

The outside world is the kernel: in a network namespace of its own there is only the loopback device.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import require_program

ROOT = Path(__file__).parents[2]
PORT = "8599"
# Inside the namespace: raise the loopback device, show that there is no way out, serve, and look at the first page.
SCRIPT = """
import fcntl, os, socket, struct, subprocess, sys, time, urllib.request
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
    fcntl.ioctl(s, 0x8914, struct.pack("16sh14x", b"lo", 0x1 | 0x40))
with socket.socket() as out:
    try:
        out.connect(("192.0.2.1", 80))
    except OSError as error:
        print("no way out:", error.strerror, flush=True)
port = sys.argv[1]
command = [sys.executable, "-m", "diagnostics.cli.main", "app", "--port", port, "--headless"]
quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "start_new_session": True}
app = subprocess.Popen(command, **quiet)
try:
    for _ in range(300):
        try:
            page = urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=2).read().decode()
            health = urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2).read().decode()
            print("served:", "<script" in page, health, app.poll(), flush=True)
            break
        except OSError:
            time.sleep(0.1)
finally:
    os.killpg(app.pid, 15)
    app.wait(20)
"""


def test_app_serves_its_pages_where_there_is_no_way_out(tmp_path: Path) -> None:
    unshare = require_program("unshare", "Debian package util-linux")
    command = [unshare, "--map-root-user", "--net", sys.executable, "-c", SCRIPT, PORT]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OHMWARD_STORE": f"sqlite:///{tmp_path / 'cases.sqlite3'}"}
    run = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=90, check=False)
    if "unshare:" in run.stderr and os.environ.get("CI") != "true":
        pytest.skip("needs the program unshare with leave to make a namespace (Debian package util-linux)")
    assert "no way out: Network is unreachable" in run.stdout, run.stderr
    assert "served: True ok None" in run.stdout, run.stderr
