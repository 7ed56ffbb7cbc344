"""Which lines of a capture are real and which are folded, by two rates of sampling.

A line at F shows at F less the nearest multiple of the rate (C. E. Shannon,
Communication in the presence of noise, Proc. IRE 37, 1949). At another rate a real line
stays and a folded one moves; where it moves to says where it may come from. Where more
than one origin fits none is claimed.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.analysis.lines import Line
from daq.analysis.measured import Measured, derived, exact
from daq.analysis.ripple import Ripple
from daq.analysis.series import Array

#: Rates nearer to each other than this share cannot part lines.
APART: Final = 0.03
#: How much speed, and with it a line, may change from one capture to the next.
WANDER_REL: Final = 0.003
#: Origins are looked for up to so many times the faster rate: the stand's filter keeps
#: out most of what is beyond.
REACH: Final = 1.75
#: The same line has amplitudes at two rates that are no further apart.
AMPLITUDES: Final = 1.6
#: Two captures place one line no better than this share of one over their spans.
PLACED: Final = 0.25

FOLDED: Final = "lines that fold"
DOUBTFUL: Final = "what may fold and was not told"

Verdict = Literal["kept", "alias", "unclear", "alone"]


@dataclass(frozen=True, slots=True)
class Told:
    """One line of the faster capture, held against the other.

    Attributes:
        line: The line.
        verdict: ``kept``: at one frequency at both rates. ``alias``: it moved as a
            line from one place beyond the band would. ``unclear``: more than one
            origin fits. ``alone``: nothing of the other capture fits.
        origins_hz: Where it may come from; for ``kept`` where it is.
    """

    line: Line
    verdict: Verdict
    origins_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Aliases:
    """Two captures of one state at two rates.

    Attributes:
        faster: The ripple of the faster one.
        slower: That of the other.
        told: Each line of the faster one, the largest first.
        highest_hz: No origin beyond it was looked for.
        folded_si: Root mean square of the lines that are aliases, one value.
        in_band_rms_si: The ripple's without them, one value. What neither stayed nor
            moved as an alias counts half, and may be all or nothing.
    """

    faster: Ripple
    slower: Ripple
    told: tuple[Told, ...]
    highest_hz: float
    folded_si: Measured
    in_band_rms_si: Measured

    @property
    def rates_hz(self) -> tuple[float, float]:
        """Of the faster and of the slower."""
        return tuple(1.0 / one.capture.period_s for one in (self.faster, self.slower))  # type: ignore[return-value]


def folded_hz(frequency_hz: float, rate_hz: float) -> float:
    """Where a line shows at a rate of sampling."""
    return abs(frequency_hz - rate_hz * round(frequency_hz / rate_hz))


def origins_of(seen_hz: float, rate_hz: float, highest_hz: float) -> list[float]:
    """Everywhere a line may come from, rising, itself first."""
    most = math.ceil(highest_hz / rate_hz)
    all_of = {k * rate_hz + way * seen_hz for k in range(most + 1) for way in (-1, 1)}
    return sorted(hz for hz in all_of if 0.0 < hz <= highest_hz)


def tell_apart(
    one: Ripple, other: Ripple, *, wander_rel: float = WANDER_REL
) -> Aliases | None:
    """Lines of two captures of one state; None where the rates are too near.

    Args:
        one: Ripple at a rate.
        other: Ripple of the same channel in the same state, at another.
        wander_rel: How much a line may have moved by itself meanwhile.
    """
    faster, slower = sorted((one, other), key=lambda r: r.capture.period_s)
    rates = [1.0 / r.capture.period_s for r in (faster, slower)]
    if (
        rates[0] / rates[1] - 1.0 < APART
        or one.capture.channel != other.capture.channel
    ):
        return None
    pair = _Pair(faster, slower, rates[0], rates[1], wander_rel)
    told = tuple(pair.judged(line) for line in faster.lines)
    folded = [each.line for each in told if each.verdict == "alias"]
    folded_si = _together(folded)
    return Aliases(
        faster=faster,
        slower=slower,
        told=told,
        highest_hz=pair.highest_hz,
        folded_si=folded_si,
        in_band_rms_si=_in_band(faster.rms_si, told, folded_si),
    )


@dataclass(frozen=True, slots=True)
class _Pair:
    faster: Ripple
    slower: Ripple
    rate_hz: float
    other_hz: float
    wander_rel: float

    @property
    def highest_hz(self) -> float:
        return REACH * self.rate_hz

    def judged(self, line: Line) -> Told:
        """What the other capture says of a line."""
        fitting = [
            hz
            for hz in origins_of(line.hertz, self.rate_hz, self.highest_hz)
            if self._there(line, hz)
        ]
        if not fitting:
            return Told(line, "alone", ())
        if len(fitting) > 1:
            return Told(line, "unclear", tuple(fitting))
        real = math.isclose(fitting[0], line.hertz)
        return Told(line, "kept" if real else "alias", tuple(fitting))

    def _there(self, line: Line, origin_hz: float) -> bool:
        """Whether the other capture has a line where this origin would show."""
        due = folded_hz(origin_hz, self.other_hz)
        if due < self.slower.split_hz:
            return False  # it would have been taken for slow there
        return any(
            abs(each.hertz - due) <= self._room_hz(line, each, origin_hz)
            and 1.0 / AMPLITUDES < each.size_si / line.size_si < AMPLITUDES
            for each in self.slower.lines
        )

    def _room_hz(self, line: Line, each: Line, origin_hz: float) -> float:
        spread = math.hypot(
            *(
                2.0 * float(one.frequency_hz.standard_uncertainty()[0])
                for one in (line, each)
            )
        )
        spans = sum(
            1.0 / max(r.stretch_s[1] - r.stretch_s[0], r.capture.period_s)
            for r in (self.faster, self.slower)
        )
        return spread + PLACED * spans + self.wander_rel * origin_hz


def _together(lines: list[Line]) -> Measured:
    """Root mean square of some lines."""
    if not lines:
        return exact(0.0)
    square = sum(0.5 * line.size_si**2 for line in lines)
    rms = math.sqrt(square)
    u = math.sqrt(
        sum(
            (
                0.5
                * line.size_si
                / rms
                * float(line.amplitude_si.standard_uncertainty()[0])
            )
            ** 2
            for line in lines
        )
    )
    return exact(rms).with_source(FOLDED, np.array([u]))


def _in_band(rms: Measured, told: tuple[Told, ...], folded: Measured) -> Measured:
    """What is left of a ripple when what folds is taken off.

    Kept lines are in the band and aliases are not. The rest (lines that are unclear or
    alone, and what is in no line) may be either: half of its power, with the other half
    as a rectangular bound.
    """
    kept = sum(0.5 * t.line.size_si**2 for t in told if t.verdict == "kept")
    whole, gone = (float(one.value[0]) ** 2 for one in (rms, folded))
    doubtful = max(0.0, whole - kept - gone)

    def left(size: Array, folds: Array) -> Array:
        return np.sqrt(np.maximum(size**2 - folds**2 - 0.5 * doubtful, 0.0))

    found = derived(left, rms, folded)
    size = max(float(found.value[0]), math.sqrt(0.5 * doubtful), 1e-300)
    u = 0.5 * doubtful / math.sqrt(3.0) / (2.0 * size)
    return found.with_source(DOUBTFUL, np.array([u]))
