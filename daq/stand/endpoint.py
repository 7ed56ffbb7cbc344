"""Byte pipes that a host can open like a port: a pseudo-terminal, or loopback TCP.

Nothing here knows what goes through them. What nobody reads is never waited for.
"""

import os
import select
import socket
from typing import Protocol


class Endpoint(Protocol):
    """A byte pipe with a name that a host can open."""

    name: str

    def read(self, wait_s: float) -> bytes:
        """What arrived, waiting at most that long for it."""
        ...

    def write(self, data: bytes) -> bool:
        """Send all of it or nothing; whether it went."""
        ...

    def close(self) -> None:
        """Take the port away."""
        ...


class Terminal:
    """A pseudo-terminal; the host opens its other end by path."""

    def __init__(self) -> None:
        import tty

        self._fd, self._held = os.openpty()
        tty.setraw(self._held)
        os.set_blocking(self._fd, False)
        self.name = os.ttyname(self._held)

    def read(self, wait_s: float) -> bytes:
        """What arrived, waiting at most that long for it."""
        if not select.select([self._fd], [], [], wait_s)[0]:
            return b""
        return os.read(self._fd, 65_536)

    def write(self, data: bytes) -> bool:
        """Send all of it or nothing; whether it went."""
        try:
            sent = os.write(self._fd, data)
        except BlockingIOError:
            return False
        return sent == len(data)

    def close(self) -> None:
        """Take the port away: the host's next read fails."""
        os.close(self._held)
        os.close(self._fd)


class Loopback:
    """A TCP port on this machine only, for systems without terminals."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        host, port = self._server.getsockname()[:2]
        self.name = f"socket://{host}:{port}"
        self._peer: socket.socket | None = None

    def read(self, wait_s: float) -> bytes:
        """What arrived, waiting at most that long for it."""
        source = self._peer or self._server
        if not select.select([source], [], [], wait_s)[0]:
            return b""
        if self._peer is None:
            self._peer = self._server.accept()[0]
            self._peer.settimeout(0.0)
            self._peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return b""
        try:
            data = self._peer.recv(65_536)
        except OSError:
            data = b""
        if not data:
            self._peer.close()
            self._peer = None
        return data

    def write(self, data: bytes) -> bool:
        """Send all of it or nothing; whether it went."""
        if self._peer is None:
            return False
        try:
            return self._peer.send(data) == len(data)
        except OSError:
            return False

    def close(self) -> None:
        """Take the port away."""
        if self._peer is not None:
            self._peer.close()
        self._server.close()


def open_endpoint(*, tcp: bool = False) -> Endpoint:
    """A pseudo-terminal, or loopback TCP where asked for or needed."""
    if tcp or not hasattr(os, "openpty"):
        return Loopback()
    return Terminal()
