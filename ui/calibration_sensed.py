"""What a stand says of a channel that is calibrated, and whether it may be read now.

Fed with happenings and moments: the channel's last readings, who the stand is, and what
forbids to read now. It takes no reading and keeps none beyond a short window.
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final

import numpy as np

from daq.analysis.statistics import MIN_READINGS, WindowMean, window_mean
from daq.calibration.suspects import Sensor
from daq.errors import InputFault
from daq.link import session as s

#: Beyond this speed the motor turns, and above this voltage its supply is on.
TURNING_RAD_S: Final = 5.0
SUPPLY_OFF_V: Final = 1.0
MOST_READINGS: Final = 4096


class Sensed:
    """The channel as it is heard.

    Attributes:
        channel: which.
        stand: who is there; None before it said so.
        newest_s: host time of the newest reading.
    """

    def __init__(self, channel: str, *, needs_supply_off: bool) -> None:
        """Nothing heard yet.

        Args:
            channel: to be calibrated.
            needs_supply_off: whether nothing is read while the motor's supply is on.
        """
        self.channel = channel
        self.stand: s.Stand | None = None
        self.newest_s = -math.inf
        self._needs_supply_off = needs_supply_off
        self._window: deque[tuple[float, int]] = deque(maxlen=MOST_READINGS)
        self._others: dict[str, float] = {}
        self._state = ""

    def hear(self, happening: s.Happening, now_s: float) -> None:
        """One thing that the stand said.

        Raises:
            InputFault: it has no such channel.
        """
        if isinstance(happening, s.Identified):
            self._identified(happening.stand)
        elif isinstance(happening, s.Sampled):
            self._sampled(happening, now_s)
        elif isinstance(happening, s.StateTold):
            self._state = happening.message.state.name.lower()

    def _identified(self, stand: s.Stand) -> None:
        """Take note of who it is.

        Raises:
            InputFault: it has no such channel.
        """
        if stand.channel(self.channel) is None:
            names = ", ".join(page.name for page in stand.channels)
            raise InputFault(
                f"This stand has no channel {self.channel}; it has {names}."
            )
        self.stand = stand

    def _sampled(self, sampled: s.Sampled, now_s: float) -> None:
        for page, count in zip(sampled.layout.channels, sampled.counts, strict=True):
            if page.name == self.channel:
                if count != page.no_reading:
                    self._window.append((sampled.device_s, count))
                    self.newest_s = now_s
            elif page.name in ("speed", "voltage"):
                self._others[page.name] = page.to_si(count)

    # ------------------------------------------------------------ what it is

    @property
    def sensor(self) -> Sensor | None:
        """What the stand declares of the channel; None before it is known."""
        page = self.stand.channel(self.channel) if self.stand else None
        return None if page is None else Sensor.of(page)

    def to_si(self, counts: float) -> float:
        """Counts by the stand's own constants; NaN before it is known."""
        page = self.stand.channel(self.channel) if self.stand else None
        if page is None:
            return math.nan
        return (counts - page.zero_counts) / page.counts_per_unit

    @property
    def blocked(self) -> str:
        """Why nothing may be read now, a sentence; "" where it may."""
        speed = self._others.get("speed", 0.0)
        if speed > TURNING_RAD_S:
            return "The motor turns. Nothing is calibrated while it does: stop it."
        if self._state in ("armed", "spinning", "proving"):
            return f"The stand is {self._state}; it has to be locked."
        volts = self._others.get("voltage", 0.0)
        if self._needs_supply_off and volts > SUPPLY_OFF_V:
            return (
                f"The motor's supply is on ({volts:.1f} V). Take the pack off, or pull "
                "the plug: hands are at the propeller now."
            )
        return ""

    # ------------------------------------------------------------ what it reads

    @property
    def newest(self) -> tuple[float, int] | None:
        """Device time and counts of the newest reading; None before there is one."""
        return self._window[-1] if self._window else None

    def since(self, from_s: float) -> list[tuple[float, int]]:
        """Device times and counts since a moment of the device."""
        return [(at, count) for at, count in self._window if at >= from_s]

    def mean(self, from_s: float) -> WindowMean | None:
        """The mean since a moment of the device; None where too little came."""
        recent = self.since(from_s)
        if len(recent) < MIN_READINGS:
            return None
        table = np.array(recent, dtype=np.float64)
        found = window_mean(table[:, 0], table[:, 1], 1.0)
        return found if math.isfinite(found.mean) else None
