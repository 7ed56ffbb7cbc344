"""A simulated stand that prints lines, as a sketch of one's own would.

The hardware is a simulated stand as ever; this is another program on it: it prints
what its description says, takes the throttle that it is told, and protects nothing.
It says that it is simulated in a line of its own, since it has no other way to. Pure:
time moves only in ``advance``.
"""

import json
import math
from typing import Final

from daq.link import messages as m
from daq.link import session as s
from daq.link.columns.commands import HeardCommands
from daq.link.columns.description import SEPARATORS, Channel, Description, StandTime
from daq.link.columns.lines import Lines
from daq.link.columns.session import SIMULATED_LINE
from daq.stand.device import TICK_S, Device

SAY_SO_S: Final = 1.0  # that it is simulated
BOOT_S: Final = 0.3
FEED_S: Final = 0.02
LEASE_MS: Final = 500
MISSED_KEEP_ALIVES: Final = 3
STAMP_DECIMALS: Final = {"us": 0, "ms": 0, "s": 3}


class LineStand:
    """A stand that prints lines.

    Attributes:
        hardware: what the program runs on: motor, sensors, plug and loop.
        description: what it prints and takes.
        heeds_keep_alive: whether it stops its motor when the keep-alive stays away.
        unsent: lines that nobody read.
        throttle_frac: throttle in force, 0 to 1.
    """

    def __init__(
        self,
        hardware: Device,
        description: Description,
        *,
        heeds_keep_alive: bool = False,
    ) -> None:
        self.hardware = hardware
        self.description = description
        self.heeds_keep_alive = heeds_keep_alive
        self.unsent = 0
        self.throttle_frac = 0.0
        self._session = s.Session()
        self._session.identify(0.0)
        self._lines = Lines(begins_whole=True)
        self._sums: dict[str, tuple[float, int]] = {}
        self._newest: dict[str, float] = {}
        self._now_s = 0.0
        self._print_s = self._say_so_s = self._feed_s = 0.0
        self._alive_s = self._began_s = 0.0
        self._nonce = 0
        self._commands = HeardCommands(description.commands)
        hardware.receive(self._session.send(m.Who(), 0.0))

    # ------------------------------------------------------------------ by hand

    @property
    def plug_in(self) -> bool:
        """The arming plug as a person has put it."""
        return bool(getattr(self.hardware, "plug_in", True))

    @plug_in.setter
    def plug_in(self, inserted: bool) -> None:
        # Of a stand that may have faults; a plain one has its plug always in.
        setattr(self.hardware, "plug_in", inserted)  # noqa: B010

    @property
    def stop_loop_open(self) -> bool:
        """The normally-closed loop, wired straight to the hardware."""
        return self.hardware.stop_loop_open

    @stop_loop_open.setter
    def stop_loop_open(self, is_open: bool) -> None:
        self.hardware.stop_loop_open = is_open

    def restart(self, boot_s: float = BOOT_S) -> None:
        """Begin again, as after a reset: throttle zero, time from zero."""
        self.throttle_frac = 0.0
        self._began_s = self._now_s
        self._lines = Lines(begins_whole=True)
        self._print_s = self._say_so_s = self._now_s + boot_s

    # ------------------------------------------------------------------ the line

    def receive(self, data: bytes) -> None:
        """Take bytes from the host."""
        for line in self._lines.feed(data):
            self._obey(line)

    def _obey(self, line: str) -> None:
        told = self._commands.throttle(line)
        if line.strip() in self._commands.keep_alive:
            self._alive_s = self._now_s
        elif line.strip() in self._commands.stop:
            self.throttle_frac = 0.0
        elif told is not None:
            self.throttle_frac = told

    def advance(self, ticks: int = 1) -> bytes:
        """Run for so many milliseconds; what it printed meanwhile."""
        printed = b""
        for _ in range(ticks):
            self._now_s += TICK_S
            self._heed_keep_alive()
            if self._now_s >= self._feed_s:
                self._feed_s = self._now_s + FEED_S
                self._drive()
            self._take(self.hardware.advance(1))
            printed += self._print()
        return printed

    def _heed_keep_alive(self) -> None:
        period_s = self.description.commands.keep_alive_period_s
        if not self.heeds_keep_alive or period_s is None:
            return
        if self._now_s - self._alive_s > MISSED_KEEP_ALIVES * period_s:
            self.throttle_frac = 0.0

    def _print(self) -> bytes:
        text = ""
        if self._now_s >= self._say_so_s:
            self._say_so_s += SAY_SO_S
            text += f"{SIMULATED_LINE}\n"
        if self._now_s >= self._print_s:
            self._print_s += 1 / self.description.rate_hz
            if self._session.stand is not None:
                text += f"{self._line()}\n"
        return text.encode()

    def _line(self) -> str:
        """One line, as described."""
        fields = dict.fromkeys(self.description.columns, "0")
        time = self.description.time
        if time is not None:
            fields[time.column] = self._stamp(time)
        for channel in self.description.channels:
            fields[channel.column] = self._figure(channel)
        self._sums.clear()
        if self.description.form == "json":
            members = (f"{json.dumps(k)}: {v}" for k, v in fields.items())
            return "{" + ", ".join(members) + "}"
        separator = SEPARATORS[self.description.separator]
        if self.description.form == "named":
            mark = self.description.mark
            return separator.join(f"{k}{mark}{v}" for k, v in fields.items())
        return separator.join(fields.values())

    def _stamp(self, time: StandTime) -> str:
        """Its own clock, in whole units, or seconds with their milliseconds."""
        decimals = STAMP_DECIMALS[time.unit]
        stamp = round((self._now_s - self._began_s) / time.unit_s, decimals)
        if time.wraps_at is not None:
            stamp %= time.wraps_at
        # Cut, not rounded: it never shows what it wraps at.
        steps = math.floor(stamp * 10**decimals + 1e-6)
        printed = f"{steps / 10**decimals:.{decimals}f}"
        return printed.replace(".", self.description.decimal)

    def _figure(self, channel: Channel) -> str:
        """What it prints of a channel: the mean since the line before, or the newest.

        Nothing measured is printed as nothing, as careless sketches do.
        """
        total, number = self._sums.get(channel.name, (0.0, 0))
        value = total / number if number else self._newest.get(channel.name, math.nan)
        if not math.isfinite(value):
            value = channel.to_si(0.0)
        zero, one = channel.to_si(0.0), channel.to_si(1.0)
        printed = f"{(value - zero) / (one - zero):.{channel.decimals}f}"
        return printed.replace(".", self.description.decimal)

    # ------------------------------------------------------------------ the hardware

    def _drive(self) -> None:
        """Hold the throttle on hardware that wants to be asked again and again."""
        session, hardware = self._session, self.hardware
        if session.stand is None:
            return
        if session.state is m.State.LOCKED:
            self._arm(session.stand)
        setpoint = round(self.throttle_frac * m.THROTTLE_FULL)
        words = m.Throttle(self._nonce, setpoint, LEASE_MS, session.newest_us)
        hardware.receive(session.send(words, self._now_s))

    def _arm(self, stand: s.Stand) -> None:
        page = stand.channel("current")
        if page is None:
            return
        widest = m.LimitEntry(page.index, page.low_counts, page.high_counts, 255, 255)
        limits = m.Limits((widest,))
        self._nonce = self._nonce % 0xFFFF + 1
        arm = m.Arm(
            self._nonce,
            stand.identity.boot,
            limits.crc,
            LEASE_MS,
            self._session.newest_us,
        )
        for command in (limits, arm):
            self.hardware.receive(self._session.send(command, self._now_s))

    def _take(self, data: bytes) -> None:
        happenings = self._session.receive(data, self._now_s)
        self._session.poll(self._now_s)
        for happening in happenings:
            if not isinstance(happening, s.Sampled):
                continue
            pages = happening.layout.channels
            for page, count in zip(pages, happening.counts, strict=True):
                value = page.to_si(count)
                if math.isfinite(value):
                    self._newest[page.name] = value
                    total, number = self._sums.get(page.name, (0.0, 0))
                    self._sums[page.name] = total + value, number + 1
