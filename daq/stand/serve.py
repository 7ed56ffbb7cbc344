"""Put a simulated stand on a real port, in real time: the thin edge.

A pseudo-terminal where the system has them, loopback TCP elsewhere. One loop
moves the device's time along with the machine's, hands it what arrived and
writes what it sent; what nobody reads is dropped whole and counted, as a
serial line would lose it. Run as ``python -m daq.stand.serve`` it prints its
port as one JSON line and ends when its standard input does.
"""

import argparse
import json
import os
import select
import socket
import sys
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from daq.clock import Clock
from daq.errors import GramwattError
from daq.machine_clock import MachineClock
from daq.stand.device import TICK_S, Device

CATCH_UP_TICKS = 10  # device time between two looks at the input, at most
WAIT_S = 0.001


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


class Server:
    """Runs a device in real time behind an endpoint until told to end.

    Attributes:
        device: the device; touch it only through ``between_ticks``.
        name: what the host opens.
    """

    def __init__(self, device: Device, endpoint: Endpoint, clock: Clock) -> None:
        self.device = device
        self.name = endpoint.name
        self._endpoint = endpoint
        self._clock = clock
        self._ended = threading.Event()
        self._asked: list[Callable[[Device], object]] = []
        self._lock = threading.Lock()

    def between_ticks(self, act: Callable[[Device], object]) -> None:
        """Have ``act`` done to the device by the serving loop: a side door."""
        with self._lock:
            self._asked.append(act)

    def end(self) -> None:
        """Let ``run`` return and take the port away."""
        self._ended.set()

    def run(self) -> None:
        """Serve until ``end``."""
        begin_s = self._clock.now_s()
        done = 0
        try:
            while not self._ended.is_set():
                arrived = self._endpoint.read(WAIT_S)
                if arrived:
                    self.device.receive(arrived)
                self._side_door()
                due = int((self._clock.now_s() - begin_s) / TICK_S) - done
                ticks = min(due, CATCH_UP_TICKS)
                if ticks <= 0:
                    continue
                sent = self.device.advance(ticks)
                done += ticks
                if sent and not self._endpoint.write(sent):
                    self.device.unsent += 1
        finally:
            self._endpoint.close()

    def _side_door(self) -> None:
        with self._lock:
            asked, self._asked = self._asked, []
        for act in asked:
            act(self.device)


def build(truth: Path | None, seed: int) -> Device:
    """A device over the plant of a truth file, or of the shipped one.

    Raises:
        InputFault: the truth file is missing or wrong.
    """
    from daq.stand.plant.bench import Plant
    from daq.stand.plant.truth import load_truth, shipped_truth

    facts = load_truth(truth) if truth else shipped_truth("indoor_quad")
    return Device(Plant(facts, seed))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What a simulated stand can be asked for."""
    parser.add_argument("--truth", type=Path, metavar="FILE", help="its figures, TOML")
    parser.add_argument("--seed", type=int, default=1, help="of its noise (default 1)")
    parser.add_argument("--tcp", action="store_true", help="loopback TCP, no terminal")


def main(arguments: Sequence[str] | None = None) -> int:
    """Serve until standard input ends; 1 with a sentence when it cannot."""
    parser = argparse.ArgumentParser(prog="python -m daq.stand.serve")
    add_arguments(parser)
    options = parser.parse_args(arguments)
    try:
        device = build(options.truth, options.seed)
    except GramwattError as fault:
        sys.stdout.write(json.dumps({"error": str(fault)}) + "\n")
        return 1
    server = Server(device, open_endpoint(tcp=options.tcp), MachineClock())
    sys.stdout.write(json.dumps({"port": server.name}) + "\n")
    sys.stdout.flush()

    def end_with_input() -> None:
        # Not through sys.stdin, whose lock a dying interpreter would wait for.
        while os.read(0, 4096):
            pass
        server.end()

    threading.Thread(target=end_with_input, daemon=True).start()
    try:
        server.run()
    except KeyboardInterrupt:
        server.end()
    return 0


if __name__ == "__main__":
    sys.exit(main())
