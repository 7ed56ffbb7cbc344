"""Find and open serial ports: the only file that imports serial.

Opens, reads, writes, closes; decides nothing. A port is named by a device path
or by any pyserial URL (``socket://host:port``, ``rfc2217://host:port``).
Everything that can go wrong with one is a ``WorldFault`` with a sentence.
"""

import errno
import socket
from dataclasses import dataclass
from typing import Protocol

import serial
from serial.tools import list_ports

from daq.errors import WorldFault

DEFAULT_BAUD = 500_000
READ_WAIT_S = 0.05
LATE_WRITES = 3
WRITE_WAIT_S = 0.1
READ_MAX = 65_536
SOCKET_SCHEME = "socket://"
MAX_TCP_PORT = 65_535
CONNECT_WAIT_S = 3.0


class PortFault(WorldFault):
    """A port could not be opened."""


class PortLost(WorldFault):
    """A port that was open is gone: cable out, adapter or stand dead."""


class Port(Protocol):
    """What the keeper needs of a port."""

    @property
    def name(self) -> str:
        """How a person names it."""
        ...

    @property
    def descriptor(self) -> int | None:
        """What another process could write to; None where there is none."""
        ...

    def read(self) -> bytes:
        """Whatever waits; waits a little for the first byte.

        Raises:
            PortLost: the port is gone.
        """
        ...

    def write(self, data: bytes) -> None:
        """Hand bytes to the driver.

        Raises:
            PortLost: the port is gone or takes nothing any more.
        """
        ...

    def close(self) -> None:
        """Let go of the port; never raises."""
        ...


@dataclass(frozen=True, slots=True)
class PortFound:
    """One serial port of this machine.

    Attributes:
        name: what to pass to ``open_port``.
        description: what the system says it is.
    """

    name: str
    description: str


class SerialPort:
    """A ``Port`` on pyserial."""

    def __init__(self, line: serial.Serial, name: str) -> None:
        self._line = line
        self._name = name
        self._late_writes = 0

    @property
    def name(self) -> str:
        """How a person names it."""
        return self._name

    @property
    def descriptor(self) -> int | None:
        """What another process could write to; None where there is none."""
        try:
            return int(self._line.fileno())
        except (AttributeError, OSError, ValueError):
            return None  # not every kind of port has one

    def read(self) -> bytes:
        """Whatever waits; waits up to 50 ms for the first byte.

        Raises:
            PortLost: the port is gone.
        """
        try:
            waiting = min(self._line.in_waiting, READ_MAX)
            return bytes(self._line.read(waiting or 1))
        except (serial.SerialException, OSError, TypeError) as fault:
            # TypeError: pyserial reads from a descriptor that close() took away.
            raise PortLost(_gone(self._name)) from fault

    def write(self, data: bytes) -> None:
        """Hand bytes to the driver.

        One write that took longer than 100 ms is no lost port: a busy machine may
        have slept in it, and what was not taken is one lost frame.

        Raises:
            PortLost: the port is gone, or several writes running took that long.
        """
        try:
            self._line.write(data)
            self._late_writes = 0
        except serial.SerialTimeoutException as fault:
            self._late_writes += 1
            if self._late_writes >= LATE_WRITES:
                raise PortLost(_gone(self._name)) from fault
        except (serial.SerialException, OSError) as fault:
            raise PortLost(_gone(self._name)) from fault

    def close(self) -> None:
        """Let go of the port; never raises."""
        try:
            self._line.close()
        except (serial.SerialException, OSError):
            pass  # it is gone already, which is what was wanted


class SocketPort:
    """A ``Port`` on a TCP socket: pyserial's own reads one byte a call."""

    def __init__(self, line: socket.socket, name: str) -> None:
        self._line = line
        self._name = name
        line.settimeout(READ_WAIT_S)
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    @property
    def name(self) -> str:
        """How a person names it."""
        return self._name

    @property
    def descriptor(self) -> int | None:
        """What another process could write to."""
        return self._line.fileno()

    def read(self) -> bytes:
        """Whatever waits; waits up to 50 ms for the first byte.

        Raises:
            PortLost: the other side is gone.
        """
        try:
            data = self._line.recv(READ_MAX)
        except TimeoutError:
            return b""
        except OSError as fault:
            raise PortLost(_gone(self._name)) from fault
        if not data:
            raise PortLost(_gone(self._name))
        return data

    def write(self, data: bytes) -> None:
        """Hand bytes to the system.

        Raises:
            PortLost: the other side is gone, or took nothing for 50 ms.
        """
        try:
            self._line.sendall(data)
        except OSError as fault:
            raise PortLost(_gone(self._name)) from fault

    def close(self) -> None:
        """Let go of the port; never raises."""
        try:
            self._line.close()
        except OSError:
            pass  # it is gone already, which is what was wanted


def open_port(name: str, baud: int = DEFAULT_BAUD) -> SerialPort | SocketPort:
    """Open a port for this program alone, with as little delay as it offers.

    Args:
        name: device path or pyserial URL.
        baud: symbols a second, for real serial lines.

    Raises:
        PortFault: no such port, no permission, or another program has it.
    """
    if name.startswith(SOCKET_SCHEME):
        return _open_socket(name)
    try:
        line = serial.serial_for_url(
            name,
            baudrate=baud,
            timeout=READ_WAIT_S,
            write_timeout=WRITE_WAIT_S,
            do_not_open=True,
        )
        if isinstance(line, serial.Serial):
            line.exclusive = True
        line.open()
    except (serial.SerialException, OSError, ValueError) as fault:
        raise PortFault(_sentence(name, fault)) from None
    _set_low_latency(line)
    try:
        line.reset_input_buffer()
    except (serial.SerialException, OSError):
        pass  # not every kind of port can; framing copes with what is left
    return SerialPort(line, name)


def _gone(name: str) -> str:
    return f"The port {name} is gone: its cable or the stand's power, or it closed."


def _open_socket(name: str) -> SocketPort:
    """Open ``socket://host:port``.

    Raises:
        PortFault: the name is not of that form, or nothing listens there.
    """
    host, _, number = name.removeprefix(SOCKET_SCHEME).rpartition(":")
    if not host or not number.isdecimal() or not 0 < int(number) <= MAX_TCP_PORT:
        raise PortFault(f"{name} is not of the form socket://host:port.")
    try:
        line = socket.create_connection((host, int(number)), CONNECT_WAIT_S)
    except OSError as fault:
        raise PortFault(_sentence(name, fault)) from None
    return SocketPort(line, name)


def _sentence(name: str, fault: Exception) -> str:
    """Why a port did not open, for a person."""
    number = getattr(fault, "errno", None)
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return f"There is no port {name}. 'gramwatt ports' lists those that are there."
    if number in (errno.EACCES, errno.EPERM):
        return (
            f"This user may not open {name}. On Linux, join the group that owns it "
            "(often dialout) and log in again."
        )
    if number in (errno.EBUSY, errno.EAGAIN) or "lock" in str(fault).lower():
        return f"Another program has {name} open. Close it and try again."
    if number == errno.ECONNREFUSED or "refused" in str(fault).lower():
        return f"Nothing listens at {name}. Start the stand's server first."
    if number in (errno.ENOTTY, errno.EINVAL) or "ioctl" in str(fault):
        return f"{name} is no serial port."
    return f"The port {name} did not open: {fault}."


def _set_low_latency(line: serial.Serial) -> None:
    """Ask the driver not to hold bytes back (16 ms by default on adapters)."""
    setter = getattr(line, "set_low_latency_mode", None)
    if setter is None:
        return
    try:
        setter(True)  # noqa: FBT003 - pyserial's own signature
    except (ValueError, OSError, NotImplementedError):
        pass  # pseudo-terminals and some drivers have no such mode


def found_ports() -> list[PortFound]:
    """The serial ports of this machine, by name."""
    return sorted(
        (PortFound(p.device, p.description or "") for p in list_ports.comports()),
        key=lambda port: port.name,
    )
