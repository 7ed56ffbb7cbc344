"""Ports that open, do not open, and vanish; each fault is a sentence."""

import errno
import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from daq.errors import WorldFault
from daq.link.ports import (
    Port,
    PortFault,
    PortFound,
    PortLost,
    SerialPort,
    _sentence,
    found_ports,
    open_port,
)

READS = 100

terminals = pytest.mark.skipif(not hasattr(os, "openpty"), reason="no terminals")


class Terminal:
    """A raw pseudo-terminal with both its ends."""

    def __init__(self) -> None:
        import tty

        self.far, self._near = os.openpty()
        tty.setraw(self._near)
        self.name = os.ttyname(self._near)
        self._open = True

    def vanish(self) -> None:
        if self._open:
            self._open = False
            os.close(self._near)
            os.close(self.far)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    made = Terminal()
    try:
        yield made
    finally:
        made.vanish()


@pytest.fixture
def port(terminal: Terminal) -> Iterator[Port]:
    opened = open_port(terminal.name)
    try:
        yield opened
    finally:
        opened.close()


def read_some(port: Port, size: int) -> bytes:
    data = b""
    for _ in range(READS):
        data += port.read()
        if len(data) >= size:
            break
    return data


def write_on(port: Port, data: bytes) -> None:
    """Write the same many times."""
    for _ in range(READS):
        port.write(data)


# --- Open ---------------------------------------------------------------------------


@terminals
def test_bytes_pass_both_ways_unchanged(terminal: Terminal, port: Port) -> None:
    every = bytes(range(256))  # also those that a line discipline would eat
    assert port.name == terminal.name
    port.write(every)
    assert os.read(terminal.far, 1000) == every
    os.write(terminal.far, every)
    assert read_some(port, 256) == every


@terminals
def test_a_quiet_port_gives_nothing_after_a_little(port: Port) -> None:
    assert port.read() == b""


@terminals
def test_what_came_before_opening_is_thrown_away(terminal: Terminal) -> None:
    os.write(terminal.far, b"from long ago")
    port = open_port(terminal.name)
    try:
        assert port.read() == b""
    finally:
        port.close()


def test_a_socket_is_a_port_too() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        name = f"socket://127.0.0.1:{server.getsockname()[1]}"
        port = open_port(name)
        try:
            peer, _ = server.accept()
            with peer:
                port.write(b"ping\0")
                assert peer.recv(100) == b"ping\0"
                peer.sendall(b"pong\0")
                assert read_some(port, 5) == b"pong\0"
            with pytest.raises(PortLost, match="is gone"):
                read_some(port, 1)
        finally:
            port.close()


def test_a_socket_gives_all_that_waits_at_once() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = open_port(f"socket://127.0.0.1:{server.getsockname()[1]}")
        try:
            peer, _ = server.accept()
            with peer:
                peer.sendall(b"x" * 5000)
                assert len(port.read()) > 1000
        finally:
            port.close()


# --- Does not open ------------------------------------------------------------------


@terminals
def test_a_missing_port_is_said_to_be_missing() -> None:
    with pytest.raises(PortFault) as fault:
        open_port("/dev/no-such-stand")
    assert str(fault.value) == (
        "There is no port /dev/no-such-stand. 'gramwatt ports' lists those that "
        "are there."
    )
    assert isinstance(fault.value, WorldFault)


@terminals
def test_a_port_is_opened_by_one_program_only(terminal: Terminal, port: Port) -> None:
    with pytest.raises(PortFault) as fault:
        open_port(terminal.name)
    assert str(fault.value) == (
        f"Another program has {terminal.name} open. Close it and try again."
    )
    port.close()
    open_port(terminal.name).close()


def test_a_socket_where_nobody_listens_is_said_to_be_one() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        name = f"socket://127.0.0.1:{server.getsockname()[1]}"
    with pytest.raises(PortFault) as fault:
        open_port(name)
    assert str(fault.value) == (
        f"Nothing listens at {name}. Start the stand's server first."
    )


@pytest.mark.parametrize("name", ["nonsense://here", "socket://", "socket://here"])
def test_an_address_that_makes_no_sense_is_a_port_fault(name: str) -> None:
    with pytest.raises(PortFault, match=name):
        open_port(name)


@terminals
def test_a_file_is_no_port(tmp_path: Path) -> None:
    file = tmp_path / "stand"
    file.touch()
    with pytest.raises(PortFault, match="is no serial port"):
        open_port(str(file))


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOENT, "There is no port"),
        (errno.ENODEV, "There is no port"),
        (errno.ENXIO, "There is no port"),
        (errno.EACCES, "dialout"),
        (errno.EPERM, "dialout"),
        (errno.EBUSY, "Another program has"),
        (errno.EAGAIN, "Another program has"),
        (errno.ECONNREFUSED, "Nothing listens"),
        (errno.EIO, "did not open"),
    ],
)
def test_each_reason_has_a_sentence_with_the_ports_name(
    number: int, words: str
) -> None:
    told = _sentence("/dev/ttyX7", serial.SerialException(number, "as the system says"))
    assert words in told
    assert "/dev/ttyX7" in told
    assert told.count("\n") == 0


# --- Vanishes -----------------------------------------------------------------------


@terminals
def test_reading_from_a_port_that_vanished_says_so(
    terminal: Terminal, port: Port
) -> None:
    terminal.vanish()
    with pytest.raises(PortLost, match=f"The port {terminal.name} is gone"):
        read_some(port, 1)


@terminals
def test_writing_to_a_port_that_vanished_says_so(
    terminal: Terminal, port: Port
) -> None:
    terminal.vanish()
    with pytest.raises(PortLost, match=f"The port {terminal.name} is gone"):
        write_on(port, b"\0")


@terminals
def test_a_port_that_takes_nothing_any_more_is_lost(port: Port) -> None:
    with pytest.raises(PortLost):
        write_on(port, bytes(1000))  # nobody reads: the terminal fills up


@terminals
def test_a_closed_port_is_lost_and_may_be_closed_again(
    terminal: Terminal, port: Port
) -> None:
    port.close()
    with pytest.raises(PortLost):
        port.read()
    with pytest.raises(PortLost):
        port.write(b"\0")
    terminal.vanish()
    port.close()


# --- Found --------------------------------------------------------------------------


def test_the_ports_of_this_machine_are_listed_by_name() -> None:
    ports = found_ports()
    assert all(isinstance(port, PortFound) for port in ports)
    assert [port.name for port in ports] == sorted(port.name for port in ports)


class Sleepy:
    """A line whose writes take too long, so many times in a row."""

    def __init__(self, late: int) -> None:
        self.late = late

    def write(self, data: bytes) -> None:
        if self.late:
            self.late -= 1
            raise serial.SerialTimeoutException("Write timeout")

    def close(self) -> None:
        """Nothing to let go of."""


def test_a_machine_that_slept_in_a_write_has_not_lost_its_port() -> None:
    port = SerialPort(Sleepy(2), "sleepy")  # type: ignore[arg-type]
    for _ in range(3):
        port.write(b"\0")


def test_a_line_that_takes_nothing_any_more_is_lost() -> None:
    port = SerialPort(Sleepy(3), "sleepy")  # type: ignore[arg-type]
    port.write(b"\0")
    port.write(b"\0")
    with pytest.raises(PortLost):
        port.write(b"\0")


def test_late_writes_count_only_in_a_row() -> None:
    line = Sleepy(0)
    port = SerialPort(line, "sleepy")  # type: ignore[arg-type]
    for _ in range(5):
        line.late = 2
        port.write(b"\0")
        port.write(b"\0")
        port.write(b"\0")
