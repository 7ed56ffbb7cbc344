"""A simulated stand that suffers faults, with the same surface as a healthy one.

Owns device, plant and line, and changes them millisecond by millisecond as the
faults begin and end, in the stand's own time from when it was switched on: a
restart does not set it back. Without faults it is the device and nothing else,
byte for byte. Pure, and the same seed gives the same bytes.
"""

from collections.abc import Callable, Iterable
from typing import TypeAlias

import numpy as np
from typing_extensions import override

from daq.errors import InputFault
from daq.link import messages as m
from daq.link.standing import MAY_DRIVE
from daq.stand.device import (
    FULL_PULSE_S,
    SERVO_TICKS,
    TICK_S,
    ZERO_PULSE_S,
    Device,
)
from daq.stand.faults.article import ArticleFault, DesynchronisedMotor, StopLoopOpen
from daq.stand.faults.board import Hang, LockUp, Restart, SaggingSupply
from daq.stand.faults.fault import Fault
from daq.stand.faults.sensors import Overlay, Reader, SensorFault
from daq.stand.faults.timeline import Entry, Timeline, ticks
from daq.stand.faults.wire import Wire, WireFault
from daq.stand.plant.bench import Plant
from daq.stand.plant.condition import Condition
from daq.stand.plant.sensors import SensorSpec

SOON_S = 1e-9
"""Times on the line are sums of milliseconds: nearer than this is now."""

MakesReader: TypeAlias = Callable[[SensorSpec, float, np.random.Generator], Reader]


class FaultyStand(Device):
    """A device over a plant, with what goes wrong.

    Attributes:
        bench: the plant as it is; ``plant`` is what the device sees of it.
        faults: all that were given, in that order.
    """

    def __init__(
        self,
        bench: Plant,
        faults: Iterable[Fault] = (),
        *,
        seed: int = 0,
        stand_id: int = 0x7E51,
        boot: int = 1,
        cause: m.Cause = m.Cause.POWER_ON,
        start_us: int = 0,
        board: str = "simulated",
        bare: bool = False,
    ) -> None:
        """Switch it on.

        Args:
            bench: the plant; from now on it is this stand's.
            faults: what goes wrong, and when.
            seed: of what is random in the faults, not negative.
            stand_id: as of a device.
            boot: as of a device.
            cause: as of a device.
            start_us: as of a device; the faults' times count from here all the same.
            board: as of a device.
            bare: whether somebody took the propeller off before.
        """
        self.bench = bench
        self.faults: list[Fault] = []
        self._loop_open = self._loop_held_open = False
        self._timeline = Timeline(seed)
        self._overlay = Overlay(bench)
        self._heard = Wire("to-stand", seed=seed)
        self._said = Wire("to-host", seed=seed)
        self._line_acts = self._moves = self._shifting = False
        self._supplies: list[SaggingSupply] = []
        self._bare = bare
        self._elapsed = 0
        self._dark_until = 0
        self._lock_up: tuple[int, LockUp] | None = None
        self._hang: Hang | None = None
        self._waiting = bytearray()
        super().__init__(
            bench,
            stand_id=stand_id,
            boot=boot,
            cause=cause,
            start_us=start_us,
            board=board,
        )
        self._shape()
        for fault in faults:
            self.add(fault)

    # ----------------------------------------------------------- side doors

    def add(self, fault: Fault) -> None:
        """Have one more thing go wrong, at once if its start has passed.

        Raises:
            InputFault: it is on a channel that this stand does not have.
        """
        if isinstance(fault, SensorFault):
            names = [channel.name for channel in self.channels]
            if fault.channel not in names:
                raise InputFault(
                    f"{fault.kind}: this stand has no channel {fault.channel}; "
                    f"it has {', '.join(names)}"
                )
        if isinstance(fault, WireFault):
            self._heard.add(fault)
            self._said.add(fault)
        self.faults.append(fault)
        self._timeline.add(fault, self._elapsed)

    @property
    def elapsed_s(self) -> float:
        """Time since it was switched on: the faults' time."""
        return self._elapsed * TICK_S

    @property
    def active(self) -> tuple[Fault, ...]:
        """What is wrong now."""
        return tuple(entry.fault for entry in self._timeline.active)

    @property
    def dark(self) -> bool:
        """Whether no firmware runs now."""
        return self._elapsed < self._dark_until

    @property
    def plug_in(self) -> bool:
        """The arming plug as a person has put it; a fault may hold it out."""
        return self.bench.plug_in

    @plug_in.setter
    def plug_in(self, inserted: bool) -> None:
        self.bench.plug_in = inserted

    @property  # type: ignore[explicit-override]  # mypy looks at the setter's pair
    @override
    def stop_loop_open(self) -> bool:
        """The stop loop: opened by a person or by a fault."""
        return self._loop_open or self._loop_held_open

    @stop_loop_open.setter
    def stop_loop_open(self, is_open: bool) -> None:
        self._loop_open = is_open

    @override
    def reset(self, cause: m.Cause) -> None:
        """Restart: locked, zero pulse, next boot, first event says why."""
        self._waiting.clear()
        self._lock_up = None
        super().reset(cause)

    # ---------------------------------------------------------------- bytes

    @override
    def receive(self, data: bytes) -> None:
        """Take bytes from the host, as far as the line lets them through."""
        if self._line_acts or self._heard.busy:
            self._heard.send(self.elapsed_s, data)
        else:
            self._hear(data)

    def _hear(self, data: bytes) -> None:
        if self.dark or self._lock_up is not None:
            return
        if self._hang is None:
            super().receive(data)
        else:
            room = self._hang.buffer_bytes - len(self._waiting)
            self._waiting += data[: max(0, room)]

    # ----------------------------------------------------------------- time

    @override
    def advance(self, ticks: int = 1) -> bytes:
        """Run for so many milliseconds; what left its line meanwhile."""
        sent, left = b"", ticks
        while left > 0:
            if self._elapsed >= self._timeline.next:
                self._turn()
            line = self._line_acts or self._heard.busy or self._said.busy
            run = 1
            if not (line or self._faltering):
                run = min(left, self._timeline.next - self._elapsed)
            sent += self._through_line() if line else self._run(run)
            left -= run
        return sent

    def _through_line(self) -> bytes:
        arrived = self._heard.due(self.elapsed_s + SOON_S)
        if arrived:
            self._hear(arrived)
        said = self._run(1)
        self._said.send(self.elapsed_s, said)
        return self._said.due(self.elapsed_s + SOON_S)

    @property
    def _faltering(self) -> bool:
        """Whether each tick has to be looked at."""
        return self._moves or self.dark or self._lock_up is not None

    def _run(self, number: int) -> bytes:
        if not self._faltering:
            self._elapsed += number
            return super().advance(number)
        self._move()
        dark, lock_up = self.dark, self._lock_up
        self._elapsed += 1
        if dark:
            self.pulse_s = 0.0
            self._drift()
            return b""
        if lock_up is not None:
            self._drift()
            return b""
        if self._hang is not None:
            self._interrupt()
            return b""
        return super().advance(1)

    def _drift(self) -> None:
        """A tick without firmware: physics goes on, nobody reads it."""
        self.bench.advance(TICK_S, self.pulse_s)
        self.plant.fast_frame()
        self.plant.take_conversion()

    def _interrupt(self) -> None:
        """All that is left of the firmware in a hang: pulse, lease and samples."""
        if self._tick % SERVO_TICKS == 0:
            span_s = FULL_PULSE_S - ZERO_PULSE_S
            self.pulse_s = ZERO_PULSE_S + span_s * self._setpoint / m.THROTTLE_FULL
        self.bench.advance(TICK_S, self.pulse_s)
        self._tick += 1
        self._sample_capture()
        if self.state in MAY_DRIVE and self.time_us >= self._lease_end_us:
            self._trip(m.Cause.LEASE_ENDED)

    # ---------------------------------------------------------------- faults

    def _turn(self) -> None:
        """Begin and end what is due."""
        for entry in self._timeline.turn(self._elapsed):
            self._begin(entry)
        active = self.active
        self._line_acts = any(isinstance(fault, WireFault) for fault in active)
        self._loop_held_open = any(isinstance(f, StopLoopOpen) for f in active)
        self._lay_over()
        self._shape()
        self._supplies = [f for f in active if isinstance(f, SaggingSupply)]
        self._shifting = any(f.moves for f in active if isinstance(f, ArticleFault))
        self._hang = next((f for f in active if isinstance(f, Hang)), None)
        if self._hang is None and self._waiting:
            data = bytes(self._waiting)
            self._waiting.clear()
            super().receive(data)
        self._moves = bool(self._supplies or self._shifting or self._hang)

    def _begin(self, entry: Entry) -> None:
        """What a fault does once, when it begins."""
        match entry.fault:
            case Restart() as fault:
                self._go_dark(fault.told, fault.dark_s)
            case LockUp() as fault if not self.dark:
                self._lock_up = (self._elapsed + ticks(fault.watchdog_s), fault)
            case SensorFault() as fault:
                for name in fault.channels():
                    self._read_by(entry, name, fault.reader)
            case DesynchronisedMotor():
                self._read_by(entry, "speed", self._nonsense)
            case _:
                pass  # what lasts is looked up in each turn

    def _read_by(self, entry: Entry, name: str, reader: MakesReader) -> None:
        """Lay a reader over a channel, where the stand has it."""
        for index, spec in enumerate(self._overlay.specs):
            if spec.name == name:
                period_us = next(
                    s.period_us for s in self.streams if index in s.channels
                )
                rng = entry.course.rng
                entry.readers[name] = reader(spec, period_us * 1e-6, rng)

    def _nonsense(self, spec: SensorSpec, _: float, rng: np.random.Generator) -> Reader:
        """Any speed up to twice what the motor could turn, while it is driven."""
        bench = self.bench

        def read(count: int) -> int:
            if not bench.driven:
                return count
            most = 2.0 * bench.free_speed_rad_s * spec.counts_per_unit
            return min(spec.high_counts, round(most * rng.random()))

        return read

    def _lay_over(self) -> None:
        """Show the device the readings as they are falsified now."""
        readers: dict[str, list[Reader]] = {}
        for entry in self._timeline.active:
            for name, reader in entry.readers.items():
                readers.setdefault(name, []).append(reader)
        self._overlay.readers = readers
        self.plant = self._overlay
        if not readers:
            self.plant = self.bench

    def _move(self) -> None:
        """What changes from one tick to the next."""
        if self._lock_up is not None and self._elapsed >= self._lock_up[0]:
            self._go_dark(m.Cause.WATCHDOG, self._lock_up[1].dark_s)
        for fault in self._supplies:
            needed_v = fault.threshold_v + (fault.return_v if self.dark else 0.0)
            if self.bench.bus_v < needed_v:
                self._go_dark(m.Cause.BROWN_OUT, fault.dark_s)
        if self._shifting:
            self._shape()

    def _go_dark(self, cause: m.Cause, dark_s: float) -> None:
        """Stop running; when it runs again it has been reset."""
        if not self.dark:
            self.reset(cause)
        # At least until the supply is looked at again, or it would reset each tick.
        self._dark_until = max(self._dark_until, self._elapsed + max(2, ticks(dark_s)))

    def _shape(self) -> None:
        """Put the article into the condition that all its faults together make."""
        condition = Condition(propeller_on=not self._bare)
        for entry in self._timeline.active:
            if isinstance(entry.fault, ArticleFault):
                entry.course.since_s = (self._elapsed - entry.begin) * TICK_S
                entry.fault.shape(condition, entry.course)
        self.bench.suffer(condition)
