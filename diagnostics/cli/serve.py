"""``ohmward app``: the app as a child process, at an address of this machine."""

import argparse
import ipaddress
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path
from types import FrameType

from diagnostics.locate import find_shipped
from diagnostics.trees import OWN_GUIDES, read_own

_OTHERS_REACH_IT = (
    "Whoever reaches this address can read and change every case, and nobody asks for a password: only on a network "
    "that you trust, or behind a server that asks for one."
)
_STOPS = ("SIGTERM", "SIGINT", "SIGHUP")
_LAST_S = 5.0  # how long the app may take to end once it was asked to


def add_app(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes, and what it runs."""
    parser.add_argument("--port", type=int, default=8501, help="port on this machine (8501)")
    parser.add_argument(
        "--address", type=read_address, default="127.0.0.1",
        help="address of this machine at which others reach it, for a phone (127.0.0.1: this machine only)",
    )  # fmt: skip
    parser.add_argument("--headless", action="store_true", help="do not open a browser")
    parser.add_argument(
        "--guides", type=Path, metavar="FOLDER",
        help="a folder with finding guides of your own: each takes the place of the shipped one for its complaint",
    )  # fmt: skip
    parser.set_defaults(run=run_app)


def read_address(text: str) -> str:
    """Return an IP address as it is written; raises ArgumentTypeError for anything else."""
    try:
        return str(ipaddress.ip_address(text))
    except ValueError as error:
        message = f"{text[:40]!r} is no IP address of this machine; write for example 192.168.1.20"
        raise argparse.ArgumentTypeError(message) from error


def run_app(options: argparse.Namespace) -> int:
    """Open the app as a child process, listening on this machine only unless another address of it is given.

    Raises SourceError, or NotFoundError, where guides of one's own are not fit to be followed.
    """
    app = find_shipped("app.py")
    if folder := options.guides or os.environ.get(OWN_GUIDES):
        own = read_own(Path(folder).resolve())
        os.environ[OWN_GUIDES] = str(Path(folder).resolve())
        print(f"Own finding guides: {', '.join(sorted(own))}", flush=True)
    flags = {
        "server.address": options.address,
        "server.port": str(options.port),
        "server.headless": str(options.headless).lower(),
        "server.showEmailPrompt": "false",
        "browser.gatherUsageStats": "false",
    }
    command = [sys.executable, "-m", "streamlit", "run", str(app), *(f"--{k}={v}" for k, v in flags.items())]
    address = ipaddress.ip_address(options.address)
    if not address.is_loopback:
        print(_OTHERS_REACH_IT, file=sys.stderr, flush=True)
    shown = f"[{address}]" if address.version == 6 else "localhost" if address.is_unspecified else str(address)
    print(f"Ohmward opens at http://{shown}:{options.port}  (stop with Ctrl-C)", flush=True)
    return _run_child(command, app.parent)


def _run_child(command: list[str], folder: Path) -> int:
    """Run the app until it ends; whoever stops us stops it, and it is never left behind."""
    asked: list[int] = []
    child: list[subprocess.Popen[bytes]] = []

    def stop(number: int, _: FrameType | None) -> None:
        asked.append(number)
        for process in child:
            process.send_signal(number)
            last = threading.Timer(_LAST_S, process.kill)
            last.daemon = True
            last.start()

    for name in _STOPS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), stop)
    with subprocess.Popen(command, cwd=folder) as process:  # noqa: S603 - our own arguments
        child.append(process)
        if asked:  # between our start and its own
            stop(asked[0], None)
        ended = process.wait()
    return 0 if asked else ended
