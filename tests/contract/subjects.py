"""The stands under test, each behind the same few methods."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from typing_extensions import override

from daq.link import messages as m
from daq.link.ports import Port, open_port
from daq.machine_clock import MachineClock
from daq.stand.device import Device
from daq.stand.endpoint import open_endpoint
from daq.stand.plant.bench import Plant
from daq.stand.plant.conversions import Converter
from daq.stand.plant.sensors import FastFrame, SensorSpec
from daq.stand.plant.truth import shipped_truth
from daq.stand.serve import Server
from tests.contract.stranger_stand import SENSORS, StrangerStand
from tests.wired import Wired


class SideDoors(Protocol):
    """What a test can do to a stand other than by its line."""

    def open_loop(self, *, is_open: bool) -> None:
        """Open or close the stop loop."""
        ...

    def plug(self, *, inserted: bool) -> None:
        """Put the arming plug in, or pull it."""
        ...

    def reset(self, cause: int) -> None:
        """Restart it, with a start cause."""
        ...

    def silence(self, *names: str) -> None:
        """These channels, and no others, give no readings from now on."""
        ...


class Subject(Protocol):
    """A stand on its line.

    Attributes:
        doors: side doors, None where the stand offers none.
        lag_us: how much later its words may be here than they were said.
    """

    doors: SideDoors | None
    lag_us: int

    def write(self, data: bytes) -> None:
        """Bytes to the stand."""
        ...

    def read(self) -> bytes:
        """Bytes from the stand, after at most a little of its time."""
        ...

    def close(self) -> None:
        """Let go of it."""
        ...


class Muted:
    """The shipped plant, with sensors that can fall silent.

    The fast ones then give the *no reading* count, the load cell no sample at all:
    the two ways in which a channel can be silent.
    """

    def __init__(self, truth: str = "indoor_quad", seed: int = 1) -> None:
        self._plant = Plant(shipped_truth(truth), seed)
        self.sensor_specs: tuple[SensorSpec, ...] = self._plant.sensor_specs
        self.slow_specs: tuple[SensorSpec, ...] = self._plant.slow_specs
        self.muted: set[str] = set()

    def plug(self, *, inserted: bool) -> None:
        self._plant.plug_in = inserted

    def advance(self, duration_s: float, pulse_s: float) -> None:
        self._plant.advance(duration_s, pulse_s)

    def fast_frame(self) -> FastFrame:
        names = [s.name for s in self.sensor_specs if s.name != "thrust"]
        widths = [s.width_bytes for s in self.sensor_specs if s.name != "thrust"]
        counts = self._plant.fast_frame()
        return FastFrame(
            *(
                -(1 << (8 * width - 1)) if name in self.muted else count
                for name, width, count in zip(names, widths, counts, strict=True)
            )
        )

    def slow_frame(self) -> tuple[int, ...]:
        return tuple(
            -(1 << 15) if spec.name in self.muted else count
            for spec, count in zip(
                self.slow_specs, self._plant.slow_frame(), strict=True
            )
        )

    def converter(self, name: str) -> Converter:
        return self._plant.converter(name)

    def conversions(self, name: str, first_us: int, period_us: int) -> list[int]:
        counts = self._plant.conversions(name, first_us, period_us)
        return [-(1 << 15) if name in self.muted else count for count in counts]

    def take_conversion(self) -> int | None:
        count = self._plant.take_conversion()
        return None if "thrust" in self.muted else count


@dataclass
class DeviceDoors:
    """Side doors of the simulated device, by whatever reaches it."""

    plant: Muted
    touch: Callable[[Callable[[Device], object]], None]

    def open_loop(self, *, is_open: bool) -> None:
        self.touch(lambda device: setattr(device, "stop_loop_open", is_open))

    def plug(self, *, inserted: bool) -> None:
        self.touch(lambda _: self.plant.plug(inserted=inserted))

    def reset(self, cause: int) -> None:
        self.touch(lambda device: device.reset(m.Cause(cause)))

    def silence(self, *names: str) -> None:
        self.touch(lambda _: setattr(self.plant, "muted", set(names)))


class DirectDevice:
    """The simulated device in virtual time, a millisecond a read."""

    lag_us = 0

    def __init__(self, start_us: int = 0, truth: str = "indoor_quad") -> None:
        plant = Muted(truth)
        self.device = Device(plant, start_us=start_us)
        self.doors: SideDoors | None = DeviceDoors(plant, self._touch)

    def _touch(self, act: Callable[[Device], object]) -> None:
        act(self.device)

    def write(self, data: bytes) -> None:
        self.device.receive(data)

    def read(self) -> bytes:
        return self.device.advance()

    def close(self) -> None:
        """Nothing is held."""


@dataclass
class StrangerDoors:
    """Side doors of the stranger's stand."""

    stand: StrangerStand

    def open_loop(self, *, is_open: bool) -> None:
        self.stand.loop_open = is_open

    def plug(self, *, inserted: bool) -> None:
        self.stand.plug_in = inserted

    def reset(self, cause: int) -> None:
        self.stand.reset(cause=cause)

    def silence(self, *names: str) -> None:
        self.stand.silent = {i for i, s in enumerate(SENSORS) if s.name in names}


class DirectStranger:
    """The stranger's stand in virtual time, a millisecond a read."""

    lag_us = 0

    def __init__(self, *, proves: bool = True, captures: bool = True) -> None:
        self.stand = StrangerStand(proves=proves, captures=captures)
        self.doors: SideDoors | None = StrangerDoors(self.stand)

    def write(self, data: bytes) -> None:
        self.stand.feed(data)

    def read(self) -> bytes:
        return self.stand.advance(1)

    def close(self) -> None:
        """Nothing is held."""


@dataclass
class FirmwareDoors:
    """Side doors of a firmware: its pins."""

    wired: Wired

    def open_loop(self, *, is_open: bool) -> None:
        self.wired.board.ask(f"loop {int(is_open)}")

    def plug(self, *, inserted: bool) -> None:
        self.wired.plant.plug_in = inserted

    def reset(self, cause: int) -> None:
        self.wired.board.ask(f"reset {cause}")

    def silence(self, *names: str) -> None:
        self.wired.muted = set(names)


class Firmware:
    """A firmware in its own time, a millisecond a read."""

    def __init__(self, command: Sequence[str], *, lag_us: int = 0) -> None:
        self.lag_us = lag_us
        self.wired = Wired(command)
        self.doors: SideDoors | None = FirmwareDoors(self.wired)
        self._said = b""
        while not self._said:  # a chip needs some milliseconds until it listens
            self._said = self.wired.advance()

    def write(self, data: bytes) -> None:
        self.wired.receive(data)

    def read(self) -> bytes:
        said, self._said = self._said, b""
        return said + self.wired.advance()

    def close(self) -> None:
        self.wired.close()


class OnPort:
    """Whatever stand is on a port, in its own time; it has no side doors."""

    lag_us = 50_000

    def __init__(self, name: str) -> None:
        self.port: Port = open_port(name)
        self.doors: SideDoors | None = None

    def write(self, data: bytes) -> None:
        self.port.write(data)

    def read(self) -> bytes:
        return self.port.read()

    def close(self) -> None:
        self.port.close()


class Served(NamedTuple):
    """A served device and the thread that serves it."""

    server: Server[Device]
    thread: threading.Thread

    def end(self) -> None:
        """Stop serving and wait for it."""
        self.server.end()
        self.thread.join(5.0)
        if self.thread.is_alive():
            raise RuntimeError("the server did not end")


def serve(device: Device, *, tcp: bool = False) -> Served:
    """Serve a device in real time from a thread of its own."""
    server = Server(device, open_endpoint(tcp=tcp), MachineClock())
    thread = threading.Thread(target=server.run)
    thread.start()
    return Served(server, thread)


class ServedDevice(OnPort):
    """The simulated device in real time, behind a real port."""

    def __init__(self, *, tcp: bool) -> None:
        plant = Muted()
        self._served = serve(Device(plant), tcp=tcp)
        try:
            super().__init__(self._served.server.name)
        except BaseException:
            self._served.end()
            raise
        self.doors = DeviceDoors(plant, self._served.server.between_ticks)

    @override
    def close(self) -> None:
        super().close()
        self._served.end()
