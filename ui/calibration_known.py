"""What a channel is held against, masses or a meter, and the steps that it takes.

For the terminal and for the desktop alike: which masses, how they are walked, and the
known values that the readings are held against at the end. Nothing here is measured.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from daq.calibration.meter import Meter, metered
from daq.calibration.reference import Reference
from ui.calibrating import Calibrating
from ui.calibration_steps import POLES, UNITS, Step, checking, loading, metering

if TYPE_CHECKING:
    from pathlib import Path

    from daq.calibration.standards import Standards


MILLI: Final = 1e-3


def standards_in(path: Path | None) -> Standards:
    """The masses of a file; those of the example where none is named.

    Raises:
        InputFault: the file cannot be read, or what is wrong in it.
    """
    from daq.calibration.example import EXAMPLE
    from daq.calibration.standards import read_standards, standards_from

    if path is not None:
        return read_standards(path)
    return standards_from(tomllib.loads(EXAMPLE), "the example")


@dataclass(frozen=True, slots=True)
class Known:
    """One channel and what it is held against.

    Attributes:
        channel: which.
        by: the forces of masses, or a meter.
    """

    channel: str
    by: Reference | Meter

    @property
    def masses(self) -> Reference | None:
        """The forces of masses; None where a meter is read."""
        return self.by if isinstance(self.by, Reference) else None

    @property
    def meter(self) -> Meter | None:
        """The meter; None where masses are set down."""
        return self.by if isinstance(self.by, Meter) else None

    @property
    def unit(self) -> str:
        """Of the channel."""
        return UNITS[self.channel]

    @property
    def loaded(self) -> bool:
        """Whether a known load stands between channel and meter."""
        return self.meter is not None and self.meter.resistance_ohm is not None

    @property
    def typed_in(self) -> str:
        """Unit of what the meter shows; that of the channel unless a load is between.

        Drops across the plug are read and typed in millivolt.
        """
        if self.loaded:
            return "A" if self.unit == "V" else "V"
        return "mV" if self.channel in POLES else self.unit

    @property
    def typed_si(self) -> float:
        """SI for one of what the meter shows."""
        return MILLI if self.typed_in == "mV" else 1.0

    def steps(
        self, *, series: int = 3, hold_s: float = 30.0, points: int = 6
    ) -> tuple[Step, ...]:
        """What a person does for a calibration.

        Args:
            series: how often masses are set down.
            hold_s: how long the most is left on for creep; 0 leaves it out.
            points: how many values are set where a meter is read.
        """
        if isinstance(self.by, Meter):
            return metering(self.channel, points, loaded=self.loaded)
        return loading(self.by, series=series, hold_s=hold_s)

    def check(self, mass: str | None) -> tuple[Step, ...]:
        """What a person does for a short check.

        Args:
            mass: which one; None takes the heaviest.

        Raises:
            InputFault: there is no such mass.
        """
        return checking(self.masses, mass, self.channel, loaded=self.loaded)

    def walk(self, steps: Sequence[Step]) -> Calibrating:
        """The calibration or check, about to begin."""
        return Calibrating(
            self.channel,
            steps,
            needs_supply_off=self.channel == "thrust",
            direct=not self.loaded,
            typed_in=self.typed_in,
            typed_si=self.typed_si,
        )

    def reference(self, typed: Mapping[int, float]) -> Reference:
        """The known values: of the masses, or of what the meter showed by level."""
        if isinstance(self.by, Reference):
            return self.by
        shown = [typed[level] for level in sorted(typed)]
        named = self.typed_in if self.channel in POLES else ""
        return metered(
            self.by, shown, self.unit, shown_in=named, shown_si=self.typed_si
        )
