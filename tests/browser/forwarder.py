"""A loopback forwarder between browser and app, which can be cut like a mobile connection, and restored."""

import contextlib
import socket
import threading


class Forwarder:
    """Passes bytes on from a port of its own to another; ``url`` is where the browser goes."""

    def __init__(self, port: int) -> None:
        """Listen, and pass on to this port of the machine."""
        self._goal = port
        self._is_cut = threading.Event()
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._listen, daemon=True).start()

    def cut(self) -> None:
        """Drop every connection, and refuse new ones."""
        self._is_cut.set()
        for one in self._open:
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()
        self._open.clear()

    def restore(self) -> None:
        """Let connections through again."""
        self._is_cut.clear()

    def close(self) -> None:
        """Drop everything and stop listening."""
        self.cut()
        self._listener.close()

    def _listen(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self._is_cut.is_set():
                near.close()
                continue
            far = socket.create_connection(("127.0.0.1", self._goal))
            self._open += [near, far]
            for source, goal in ((near, far), (far, near)):
                threading.Thread(target=_pass_on, args=(source, goal), daemon=True).start()


def _pass_on(source: socket.socket, goal: socket.socket) -> None:
    with contextlib.suppress(OSError):
        while chunk := source.recv(65536):
            goal.sendall(chunk)
    for one in (source, goal):
        with contextlib.suppress(OSError):
            one.shutdown(socket.SHUT_RDWR)
