"""A short check with one known value, and two calibrations held against each other.

A check says whether a channel still is what its calibration says, to what both can
show; what they share (gravity, the lever) cancels and is left out, or a check could
never fail. Two calibrations of one channel, made in two mountings, say what changing
the mounting does. Nothing here changes a calibration.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.calibration.readings import Reading
from daq.calibration.reference import GRAVITY, Reference
from daq.calibration.trials import percent
from daq.calibration.use import Use
from daq.calibration.value import Bias, Calibration
from daq.errors import InputFault

#: Expanded to about 95 %.
COVERAGE_FACTOR: Final = 2.0
#: Where these are alike the lever, the place and the meter are taken for the same.
SHARED_FACTS: Final = (
    *("lever_ratio", "gravity_m_s2", "pushes", "set"),
    *("meter_percent", "meter_digits", "meter_step", "load_ohm"),
)
SHARED: Final = ("gain", GRAVITY)


@dataclass(frozen=True, slots=True)
class Check:
    """A short check.

    Attributes:
        name: of the known value.
        known_si: what it is.
        read_si: what the channel read of it, from zero.
        u_si: standard uncertainty of the difference.
    """

    name: str
    known_si: float
    read_si: float
    u_si: float

    @property
    def difference_rel(self) -> float:
        """How much more was read, as a share."""
        return (self.read_si - self.known_si) / abs(self.known_si)

    @property
    def allowed_rel(self) -> float:
        """How much that may be, as a share."""
        return COVERAGE_FACTOR * self.u_si / abs(self.known_si)

    @property
    def passed(self) -> bool:
        """Whether the channel still is what its calibration says."""
        return abs(self.difference_rel) <= self.allowed_rel

    def sentence(self) -> str:
        """The verdict."""
        more = "more" if self.difference_rel >= 0.0 else "less"
        said = (
            f"{self.name} reads {percent(abs(self.difference_rel))} {more} than it is; "
            f"{percent(self.allowed_rel)} is what calibration and check can show."
        )
        if self.passed:
            return f"{said} The calibration holds."
        return f"{said} It does not hold: look for what touches, then calibrate again."


def checked(use: Use, reference: Reference, readings: Sequence[Reading]) -> Check:
    """Hold one known value against a calibration.

    Args:
        use: the calibration as it serves today.
        reference: what the known value belongs to.
        readings: zero, the known value, and zero again.

    Raises:
        InputFault: a reading is missing.
    """
    zeros = [r for r in readings if r.kind == "zero"]
    loads = [r for r in readings if r.kind == "load"]
    if not zeros or len(loads) != 1:
        raise InputFault("A check needs zero, one known value, and zero again.")
    made, load = use.calibration, loads[0]
    at_zero = made.value(np.array([zero.counts for zero in zeros]))
    read = float(made.value(np.array([load.counts]))[0] - at_zero.mean())
    known = float(reference.value_si[load.level])
    moved = float(np.ptp(at_zero)) / math.sqrt(12.0)
    scatter = abs(made.slope_si) * math.hypot(
        load.u_counts, *[zero.u_counts / len(zeros) for zero in zeros]
    )
    parts = [
        u for name, u in _budget(use, known).items() if _counts(name, made, reference)
    ]
    standards = [
        float(np.linalg.norm(factor[load.level]))
        for name, factor in reference.causes.items()
        if _counts(name, made, reference)
    ]
    # A mass is set down once here, and its setting down is one of the scatter.
    once = _once(made, known)
    u = math.hypot(moved, scatter, once, *parts, *standards)
    return Check(reference.levels[load.level].name, known, read, u)


def _budget(use: Use, value_si: float) -> dict[str, float]:
    made = use.calibration
    return {**made.budget(value_si), use.drift.name: use.drift.u_at(value_si)}


def _counts(name: str, made: Calibration, reference: Reference) -> bool:
    """Whether a cause is in the difference, or in both alike."""
    facts = reference.facts or {}
    alike = all(facts.get(key) == made.facts.get(key) for key in SHARED_FACTS)
    return not (alike and name in (*SHARED, "mounting"))


def _once(made: Calibration, value_si: float) -> float:
    """What setting down once scatters by, where it was tried."""
    told = next((t for t in made.trials if t.name == "repeatability"), None)
    if told is None or not told.tried:
        return 0.0
    return told.value_rel * abs(value_si)


def mounted(first: Calibration, second: Calibration, what: str) -> Bias:
    """What changing the mounting did between two calibrations of one channel.

    Args:
        first: in one mounting.
        second: in the other.
        what: what was changed, such as "stand moved".

    Raises:
        InputFault: they are of two channels or stands, or the same one.
    """
    if first.subject != second.subject:
        raise InputFault(
            f"{first.id} and {second.id} are not of the same channel of the same "
            "stand, so they say nothing of its mounting."
        )
    if first.id == second.id:
        raise InputFault(f"{first.id} cannot be compared with itself.")
    apart = second.slope_si / first.slope_si - 1.0
    at_si = min(first.largest_si, second.largest_si)
    own = [
        u / at_si
        for made in (first, second)
        for name, u in made.budget(at_si).items()
        if name not in (*SHARED, "standards", "mounting")
    ]
    return Bias(what, float(apart), math.hypot(*own), (first.id, second.id))
