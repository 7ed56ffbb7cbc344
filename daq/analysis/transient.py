"""What a capture went through: how deep it dipped or overshot, and how it came back.

Extremes are those of single samples, ripple and all: that is what electronics on the
bus see, as far as the stand's filter and rate let it through. The way back is fitted by
one decaying part, straight or ringing. Nothing here knows what is on the bus.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.analysis.captures import Capture
from daq.analysis.lines import least_squares_of
from daq.analysis.measured import Measured, Source, exact, minus
from daq.analysis.series import Array
from daq.analysis.statistics import correlation_time

#: What it came to is read over this share of the capture, at its end.
LATE_SHARE: Final = 0.15
#: What it was before is read over as many samples at least.
FEWEST: Final = 12
#: A change is told where it is so many times its standard uncertainty, and so many
#: steps of the converter.
PLAIN: Final = 4.0
STEPS: Final = 2.0
#: ... and so many times what the slow curve did before.
WANDERED: Final = 3.0
#: A decay is told where its size is so many times its standard uncertainty, and where
#: it lasts no longer than this share of what was seen of it.
LONGEST_SHARE: Final = 0.7
#: Ringing has to fit this much better than a plain decay (difference of AIC a sample).
RINGS_BY: Final = 0.2
#: Ringing of fewer turns than this within its time constant is none.
FEWEST_TURNS: Final = 0.5
#: ... and it has to die within this share of what was seen, or it is ripple that stays.
RINGS_SHARE: Final = 0.25
#: The highest sample is held against the one of this rank.
NEXT: Final = 3
#: An edge is found no later than this.
EDGE_S: Final = 1e-4
TRIED: Final = 40
FEWEST_FITTED: Final = 16

LEVEL: Final = "level"
PEAKS: Final = "peaks between samples"
ROUNDING: Final = "steps of the converter"
FIT: Final = "fit of the way back"


@dataclass(frozen=True, slots=True)
class Recovery:
    """How the voltage came to what it stayed at.

    Attributes:
        tau_s: Time constant, one value.
        frequency_hz: Of its ringing, one value; None where it does not ring.
        size_si: What decays at its start, one value; its sign is that of the way off.
    """

    tau_s: Measured
    frequency_hz: Measured | None
    size_si: Measured


@dataclass(frozen=True, slots=True)
class Transient:
    """One change within a capture.

    Attributes:
        kind: ``dip`` where it went down first, ``rise`` where it went up.
        before_si: Level before, one value.
        after_si: Level at the end of the capture, one value.
        extreme_si: Lowest sample of a dip, highest of a rise, one value.
        depth_si: Of a dip the level before less the lowest; of a rise the highest less
            the level at the end, which is an overshoot. One value.
        slow_si: The same by the slow curve alone.
        extreme_s: When, from the trigger.
        half_back_s: How long after it the slow curve was half of the way to the level
            at the end; None where it was not, or never left it.
        recovery: The way back; None where no decay is plain.
    """

    kind: Literal["dip", "rise"]
    before_si: Measured
    after_si: Measured
    extreme_si: Measured
    depth_si: Measured
    slow_si: float
    extreme_s: float
    half_back_s: float | None
    recovery: Recovery | None


def read_transient(
    capture: Capture, slow: Array, jump: int | None, guard: int
) -> Transient | None:
    """What the capture went through; None where it stayed where it was.

    Args:
        capture: The capture.
        slow: Its slow curve, shape (n,).
        jump: Index where its level jumps; None: nowhere, so it began at the trigger.
        guard: Samples beside a jump that belong to neither state.
    """
    value, size = capture.value_si, capture.value_si.size
    begins = int(np.searchsorted(capture.t_s, 0.0)) if jump is None else jump
    early = value[: max(begins - guard, min(begins, FEWEST))]
    late = value[size - max(FEWEST, round(LATE_SHARE * size)) :]
    if np.isfinite(early).sum() < FEWEST or np.isfinite(late).sum() < FEWEST:
        return None
    before = _level(early, capture.step_si, "before")
    after = _level(late, capture.step_si, "after")
    rest, rest_slow = value[begins:], slow[begins:]
    if not np.isfinite(rest_slow).any():
        return None
    level = float(before.value[0])
    down = level - float(np.nanmin(rest_slow))
    up = float(np.nanmax(rest_slow)) - level
    steady = slow[: max(begins - guard, min(begins, FEWEST))]
    wandered = float(np.nanmax(np.abs(steady - level)))
    least = max(
        PLAIN * float(before.standard_uncertainty()[0]),
        STEPS * capture.step_si,
        WANDERED * wandered,
    )
    if max(down, up) < least:
        return None
    falls = down >= up
    sign = -1.0 if falls else 1.0
    place = begins + int(np.nanargmax(sign * rest))
    if jump is not None:
        place = _at_the_edge(sign * value, begins, place, capture.period_s)
    extreme = _peak(
        value, place, capture.step_si, _missed(sign * rest, sign * rest_slow)
    )
    reference = before if falls else after
    depth = minus(reference, extreme) if falls else minus(extreme, reference)
    slow_place = int(np.nanargmax(sign * rest_slow))
    slow_extreme = float(rest_slow[slow_place])
    return Transient(
        kind="dip" if falls else "rise",
        before_si=before,
        after_si=after,
        extreme_si=extreme,
        depth_si=depth,
        slow_si=sign * (slow_extreme - float(reference.value[0])),
        extreme_s=float(capture.t_s[place]),
        half_back_s=_half_back(
            rest_slow, slow_place, float(after.value[0]), capture.period_s, least
        ),
        recovery=read_recovery(
            value[begins + slow_place if falls else place :],
            capture.period_s,
            capture.step_si,
        ),
    )


def _at_the_edge(value: Array, begins: int, place: int, period_s: float) -> int:
    """The highest just before the edge, where it stands out of all that was before.

    What best parts two states lets the first moments of the second pass for the first.
    """
    reach = max(4, math.ceil(EDGE_S / period_s))
    start = max(0, begins - reach)
    edge, early = value[start:begins], value[:start]
    if not (np.isfinite(edge).any() and np.isfinite(early).any()):
        return place
    high = start + int(np.nanargmax(edge))
    return high if value[high] > max(value[place], float(np.nanmax(early))) else place


def _level(part: Array, step: float, when: str) -> Measured:
    """The mean of some samples."""
    known = part[np.isfinite(part)]
    tau = correlation_time(known - known.mean())
    u = float(known.std(ddof=1)) * math.sqrt(tau / known.size)
    dof = max(1.0, known.size / tau - 1.0)
    # All of one step: the level may lie anywhere in it.
    steps = step / math.sqrt(12.0) / np.unique(known).size
    value = np.array([float(known.mean())])
    return Measured(
        value,
        {
            f"{LEVEL} {when}": Source(np.array([u]), np.array([dof])),
            f"{ROUNDING} {when}": Source(np.array([steps]), np.array([math.inf])),
        },
    )


def _missed(rest: Array, slow: Array) -> float:
    """How far above the highest sample the truth may well be.

    Where ripple is quicker than the samples they hit its crests by chance: the truth is
    about as far above the highest as that is above the next, or as high as the highest
    crest anywhere on top of the highest of the slow curve (a rectangular bound).
    """
    known = np.sort(rest[np.isfinite(rest)])
    crest = float(np.nanmax(slow)) + float(np.nanmax(rest - slow))
    beyond = max(0.0, crest - float(known[-1]))
    return max(float(known[-1] - known[-NEXT]), beyond / math.sqrt(3.0))


def _peak(rest: Array, place: int, step: float, apart: float) -> Measured:
    """The extreme sample; the truth between it and the next is not known."""
    around = rest[max(0, place - 1) : place + 2]
    missed = 0.0
    if around.size == 3 and np.isfinite(around).all():
        low, top, high = (float(one) for one in around)
        bend = low - 2.0 * top + high
        missed = abs((high - low) ** 2 / (16.0 * bend)) if bend else 0.0
        # Half of what a parabola through the three is above the highest, and an
        # eighth of its bend: the top may lie half a sample away.
        missed = max(missed, abs(bend) / 16.0)
    missed = max(missed, apart)
    return (
        exact(float(rest[place]))
        .with_source(PEAKS, np.array([missed]))
        .with_source(ROUNDING, np.array([step / math.sqrt(12.0)]))
    )


def _half_back(
    slow: Array, place: int, after: float, period_s: float, least: float
) -> float | None:
    way = after - float(slow[place])
    if abs(way) < least:
        return None
    share = (slow[place:] - slow[place]) / way
    reached = np.flatnonzero(share >= 0.5)
    return float(reached[0]) * period_s if reached.size else None


@dataclass(frozen=True, slots=True)
class _Decay:
    """A fit: its shape, its parts, and what is left."""

    shape: Array
    parts: Array
    left: Array

    @property
    def cost(self) -> float:
        """AIC a sample, of Gaussian noise."""
        square = float((self.left**2).mean()) + 1e-300
        return math.log(square) + 2.0 * (self.shape.size + self.parts.size) / max(
            1, self.left.size
        )


def read_recovery(value: Array, period_s: float, step: float) -> Recovery | None:
    """One decaying part towards a level, straight or ringing; None where none is plain.

    Args:
        value: From where the way back begins, shape (n,); NaN where there is no sample.
        period_s: From one sample to the next.
        step: Of the converter.
    """
    known = np.flatnonzero(np.isfinite(value))
    if known.size < FEWEST_FITTED:
        return None
    t = np.asarray((known - known[0]) * period_s, dtype=np.float64)
    y = value[known]
    if float(np.ptp(y)) <= 0.0:
        return None
    plain = _best(t, y, None)
    rings = _best(t, y, _ringing(value, period_s, plain))
    told = plain
    if rings.cost < plain.cost - RINGS_BY:
        tau, hertz = rings.shape
        if tau * hertz > FEWEST_TURNS and tau < RINGS_SHARE * float(t[-1]):
            told = rings
    return _told(t, told, step)


def _basis(t: Array, shape: Array) -> Array:
    decay = np.exp(-t / shape[0])
    ones = np.ones_like(t)
    if shape.size == 1:
        return np.stack((ones, decay), axis=1)
    angle = 2.0 * np.pi * shape[1] * t
    return np.stack((ones, decay * np.cos(angle), decay * np.sin(angle)), axis=1)


def _solved(t: Array, y: Array, shape: Array) -> _Decay:
    basis = _basis(t, shape)
    parts = least_squares_of(basis, y)
    return _Decay(shape, parts, y - basis @ parts)


def _best(t: Array, y: Array, hertz: float | None) -> _Decay:
    """The best of some time constants, then moved to where it fits best.

    The level and the sizes are solved for each shape (variable projection; G. H.
    Golub, V. Pereyra, SIAM J. Numer. Anal. 10, 1973, from memory).
    """
    from scipy.optimize import least_squares

    span, period = float(t[-1]), float(t[1] - t[0])
    taus = np.geomspace(0.5 * period, span, TRIED)
    extra = [] if hertz is None else [hertz]
    tried = [_solved(t, y, np.array([tau, *extra])) for tau in taus]
    start = min(tried, key=lambda one: one.cost)
    scale = start.shape.copy()

    def left(factors: Array) -> Array:
        return _solved(t, y, scale * np.exp(factors)).left

    found = least_squares(left, np.zeros(scale.size), bounds=(-1.5, 1.5), max_nfev=30)
    return _solved(t, y, scale * np.exp(found.x))


def _ringing(value: Array, period_s: float, plain: _Decay) -> float:
    """Where what a plain decay leaves over has its largest line."""
    known = np.flatnonzero(np.isfinite(value))
    full = np.zeros(value.size)
    full[known] = plain.left
    size = 4 * value.size
    spectrum = np.abs(np.fft.rfft(full, size))
    spectrum[:4] = 0.0
    return float(np.fft.rfftfreq(size, period_s)[int(np.argmax(spectrum))])


def _told(t: Array, one: _Decay, step: float) -> Recovery | None:
    """With its uncertainty, from what is left and how that hangs together."""
    steps = 1e-4 * one.shape
    slopes = [_basis(t, one.shape)]
    for place, by in enumerate(steps):
        moved = np.where(np.arange(steps.size) == place, by, 0.0)
        high, low = (_basis(t, one.shape + way * moved) for way in (1.0, -1.0))
        slopes.append((((high - low) @ one.parts) / (2.0 * by))[:, np.newaxis])
    matrix = np.concatenate(slopes, axis=1)
    dof = max(1.0, t.size - matrix.shape[1])
    variance = float((one.left**2).sum()) / dof * correlation_time(one.left)
    variance = max(variance, step**2 / 12.0 / t.size)
    norm = np.linalg.norm(matrix, axis=0)
    if norm.min() <= 0.0:
        return None  # what decays is gone before it is seen
    inverse = np.linalg.pinv((matrix / norm).T @ (matrix / norm))
    u = np.sqrt(np.maximum(np.diag(inverse), 0.0) * variance) / norm
    count = one.parts.size
    size = math.hypot(*one.parts[1:])
    size_u = float(np.hypot(*u[1:count])) if count > 2 else float(u[1])
    tau, seen = float(one.shape[0]), float(t[-1])
    if size < PLAIN * size_u or size < STEPS * step or tau > LONGEST_SHARE * seen:
        return None
    if u[count] * PLAIN > tau:
        return None

    def with_u(value: float, by: float) -> Measured:
        return exact(value).with_source(FIT, np.array([by]))

    hertz = None
    if one.shape.size > 1:
        hertz = with_u(float(one.shape[1]), float(u[count + 1]))
    signed = math.copysign(size, float(one.parts[1]))
    return Recovery(with_u(tau, float(u[count])), hertz, with_u(signed, size_u))
