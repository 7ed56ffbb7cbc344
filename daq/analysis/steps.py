"""Steps of current: what a pack's voltage loses in the second after a punch.

Voltage and current just before a burst, and at its end: R = (U1 - U2)/(I2 - I1), the
direct-current method of IEC 61960-3 (its clause on d.c. internal resistance, from
memory: 0.2 It for 10 s, then 1 It for 1 s). A motor cannot be held at a fifth of a
small pack's hourly rate, so the times can be those of the standard and the currents
are what they were: both are kept, for whoever tells the figure. A step says nothing of
what the pack does over minutes; that is ``pack``'s.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.measured import Measured, Source, derived
from daq.analysis.scaled import scale_sources
from daq.analysis.series import CELL_CHANNELS, Array, Hold, Index, Series
from daq.analysis.statistics import MIN_READINGS, WindowMean, window_mean

#: Read over this long, just before the step and at the end of the burst.
READ_S: Final = 0.1
#: A step must be this share of the larger current, or its resistance is not known.
MIN_STEP_SHARE: Final = 0.2
#: What the standard holds before its step and after it, and how near counts as that.
IEC_BEFORE_S: Final = 10.0
IEC_AFTER_S: Final = 1.0
IEC_NEAR: Final = 0.1
#: A voltage is never taken to be known better than this, in volt.
SMALLEST_U_V: Final = 1e-5
#: What a window has for itself, after the channel's name.
OWN: Final = " random in steps"


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps of one channel of voltage.

    Attributes:
        ohm: Resistance by the mean over the steps, one value.
        each_ohm: Of each step, shape (n,).
        before_a: Current before, mean over the steps.
        after_a: Current at the end of the bursts.
        before_s: How long the current before was held, the shortest.
        after_s: How long after the step began it was read, mean.
        lowest_v: Voltage at the end of the bursts, one value, the lowest.
        rest_v: Voltage at the end of the last rest before the first step, one value;
            None without one.
        rested_s: How long that rest was.
    """

    ohm: Measured
    each_ohm: Array
    before_a: float
    after_a: float
    before_s: float
    after_s: float
    lowest_v: Measured
    rest_v: Measured | None
    rested_s: float

    @property
    def timed_as_the_standard(self) -> bool:
        """Whether both times are those of IEC 61960-3."""
        return (
            self.before_s >= IEC_BEFORE_S * (1 - IEC_NEAR)
            and abs(self.after_s - IEC_AFTER_S) <= IEC_NEAR * IEC_AFTER_S
        )


@dataclass(frozen=True, slots=True)
class PackSteps:
    """The steps of a pack.

    Attributes:
        whole: Up to where the stand reads its voltage.
        cells: Each cell by its channel, in order; empty where none is sensed.
    """

    whole: Steps
    cells: Mapping[str, Steps]


@dataclass(frozen=True, slots=True)
class _Windows:
    """Means of one channel before and after each step.

    Attributes:
        value: Shape (2 n,): before and after, step by step.
        u: Standard uncertainty of each, own to it.
        dof: Degrees of freedom of each.
    """

    value: Array
    u: Array
    dof: Array


def read_steps(series: Mapping[str, Series], holds: Sequence[Hold]) -> PackSteps | None:
    """Read the steps of a run.

    Args:
        series: Channels by name.
        holds: Stretches of the run; those of kind ``burst`` are steps, each from
            where the throttle began to move.

    Returns:
        None without voltage, current or a burst that stepped the current up.
    """
    if "current" not in series or "voltage" not in series:
        return None
    steps = [hold for hold in holds if _may_be_read(hold, series["current"])]
    whole = _read(series["voltage"], series["current"], steps, holds)
    if whole is None:
        return None
    found = {
        name: _read(series[name], series["current"], steps, holds)
        for name in CELL_CHANNELS
        if name in series
    }
    return PackSteps(whole, {name: one for name, one in found.items() if one})


def _may_be_read(hold: Hold, current: Series) -> bool:
    if hold.kind != "burst" or hold.end_s - hold.start_s < 2 * READ_S:
        return False
    before, after = (_mean(current, *span) for span in _spans(hold, current))
    stepped = after.mean - before.mean
    return bool(stepped >= MIN_STEP_SHARE * abs(after.mean))  # NaN is none


def _spans(hold: Hold, channel: Series) -> tuple[tuple[float, float], ...]:
    """Before the step, and at the end of it; longer for a channel read seldom."""
    read_s = _read_s(channel)
    return (
        (hold.start_s - read_s, hold.start_s),
        (hold.end_s - read_s, hold.end_s),
    )


def _read_s(channel: Series) -> float:
    steps_s = np.diff(channel.t_s)
    every_s = float(np.median(steps_s)) if steps_s.size else READ_S
    return max(READ_S, (MIN_READINGS + 1) * every_s)


def _mean(channel: Series, start_s: float, end_s: float) -> WindowMean:
    return window_mean(*channel.between(start_s, end_s), channel.resolution_si)


def _read(
    volts: Series, amps: Series, steps: Sequence[Hold], holds: Sequence[Hold]
) -> Steps | None:
    """One channel of voltage against the current."""
    volt, amp = _windows(volts, steps), _windows(amps, steps)
    good = np.isfinite(volt.value + volt.u + amp.value + amp.u)
    whole = good.reshape(-1, 2).all(axis=1)
    if not whole.any():
        return None
    used = np.flatnonzero(np.repeat(whole, 2))
    each_step = np.eye(int(whole.sum()))
    fell: Array = np.kron(each_step, np.array([1.0, -1.0]))
    after: Array = np.kron(each_step, np.array([0.0, 1.0]))
    rest = _rest_before(steps[0], holds)
    volt_v, amp_a = _measured(volts, volt, used), _measured(amps, amp, used)
    each = derived(
        lambda fell_v, rose_a: fell_v / rose_a,
        volt_v.mapped(fell),
        amp_a.mapped(-fell),
    )
    return Steps(
        ohm=_mean_of(each),
        each_ohm=each.value,
        before_a=float(amp_a.value[::2].mean()),
        after_a=float(amp_a.value[1::2].mean()),
        before_s=min(_held_before_s(hold, holds) for hold in steps),
        after_s=float(np.mean([h.end_s - READ_S - h.start_s for h in steps])),
        lowest_v=_lowest(volt_v.mapped(after)),
        rest_v=None if rest is None else _at_rest(volts, rest),
        rested_s=0.0 if rest is None else rest.end_s - rest.start_s,
    )


def _windows(channel: Series, steps: Sequence[Hold]) -> _Windows:
    means = [_mean(channel, *span) for hold in steps for span in _spans(hold, channel)]
    return _Windows(
        np.array([mean.mean for mean in means]),
        np.array([mean.u for mean in means]),
        np.array([mean.dof for mean in means]),
    )


def _measured(channel: Series, found: _Windows, used: Index) -> Measured:
    value = found.value[used]
    u = found.u[used]
    if channel.name != "current":
        u = np.maximum(u, SMALLEST_U_V)
    return Measured(
        value,
        {
            f"{channel.name}{OWN}": Source(u, found.dof[used]),
            **scale_sources(channel, value),
        },
    )


def _mean_of(each: Measured) -> Measured:
    """The mean over the steps, with their scatter where that is larger.

    What each step had for itself is replaced by the scatter of the steps where there
    are three or more: it holds what the windows do not show.
    """
    count = each.value.size
    mean = each.mapped(np.full((1, count), 1.0 / count))
    if count < 3:
        return mean
    sd = float(each.value.std(ddof=1)) / count**0.5
    scatter = Source(np.array([[sd]]), np.array([count - 1.0]))
    kept = {k: v for k, v in mean.sources.items() if not k.endswith(OWN)}
    return Measured(mean.value, {**kept, "step to step": scatter})


def _lowest(after_v: Measured) -> Measured:
    return after_v.take([int(np.argmin(after_v.value))])


def _held_before_s(step: Hold, holds: Sequence[Hold]) -> float:
    """How long the throttle before a step was held, settling included."""
    before = [
        hold
        for hold in holds
        if hold.kind == "dwell" and hold.end_s <= step.start_s + READ_S
    ]
    if not before:
        return 0.0
    last = max(before, key=lambda hold: hold.end_s)
    return max(0.0, step.start_s - last.start_s)


def _rest_before(step: Hold, holds: Sequence[Hold]) -> Hold | None:
    rests = [h for h in holds if h.kind == "rest" and h.end_s <= step.start_s]
    return max(rests, key=lambda hold: hold.end_s, default=None)


def _at_rest(volts: Series, rest: Hold) -> Measured | None:
    """Voltage at the end of a rest."""
    mean = _mean(volts, rest.end_s - _read_s(volts), rest.end_s)
    if not np.isfinite(mean.mean + mean.u):
        return None
    value = np.array([mean.mean])
    own = Source(np.array([max(mean.u, SMALLEST_U_V)]), np.array([mean.dof]))
    return Measured(
        value,
        {f"{volts.name} random at rest": own, **scale_sources(volts, value)},
    )
