"""The zero of a channel during a run: every rest is a zero.

A load cell warms, a mount creeps, an amplifier wanders, so the zero is read in
every rest and drawn straight from one rest to the next. How far the truth may
stray from that line is learned from the rests themselves. The zero of current
is the reading with the motor at rest, so the tens of milliamperes that a speed
controller draws asleep are taken as zero with it. Nothing here touches the
readings.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.measured import Measured, Source
from daq.analysis.series import BY_DIVIDERS, PLUG_CHANNELS, Array, Hold, Series
from daq.analysis.statistics import window_mean

#: Channels whose zero is read in the rests.
ZEROED = ("thrust", "current", *PLUG_CHANNELS.values(), BY_DIVIDERS)
#: A coasting 3-inch propeller stands still after about a second (common
#: practice, no source); half as much again. Used on rests that follow a dwell.
REST_SETTLE_S = 1.5
#: Below this share of the run's highest speed the motor is taken as stopped.
STOPPED_SHARE = 0.02
#: Half-width of what the drift may be when a single rest says nothing about
#: it, and when there is no rest, as shares of the channel's largest plateau
#: (common practice, no source).
ONE_REST_SHARE = 0.01
NO_REST_SHARE = 0.05
#: With fewer rests than this, drift is learned from the steps between rests.
RESTS_FOR_CURVATURE = 4
#: Degrees of freedom below which the Welch-Satterthwaite formula is known to
#: give intervals that are too narrow (B. D. Hall, R. Willink, Does
#: Welch-Satterthwaite make a good uncertainty estimate?, Metrologia 38, 2001,
#: 9-15). The rate is then raised by sqrt(1 + 2/dof), found by trial on
#: wandering zeros.
FEW_DOF = 2.5


@dataclass(frozen=True, slots=True)
class Rests:
    """What one channel read in the settled rests, and how far it drifts.

    For thrust and current these are the zeros.

    Attributes:
        channel: Channel name.
        time_s: Middle of each settled rest, shape (m,).
        value: Reading there, shape (m,), in the unit of the channel.
        u: Standard uncertainty of each (scatter, trend, resolution), shape (m,).
        dof: Degrees of freedom of each ``u``, shape (m,).
        drift_per_root_s: Drift between rests, standard deviation per root
            second of a wandering zero; NaN when unknown (fewer than two rests).
        drift_after_per_root_s: The same, for times outside the rests.
        drift_dof: Degrees of freedom of the drift; 0 when unknown.
        skipped: Sentences about rests that could not be used.
    """

    channel: str
    time_s: Array
    value: Array
    u: Array
    dof: Array
    drift_per_root_s: float
    drift_after_per_root_s: float
    drift_dof: float
    skipped: tuple[str, ...]

    @property
    def drift_known(self) -> bool:
        """Whether there were enough rests to see drift at all."""
        return self.drift_dof > 0

    def zero_at(self, t_s: Array, largest: float) -> Measured:
        """The zero at some times.

        Args:
            t_s: Times, shape (n,).
            largest: Largest magnitude of the channel, for the bound that stands
                in for an unknown drift.

        Returns:
            Zeros, shape (n,), with the sources ``<channel> zero`` (what the
            rests are worth, shared by plateaus that lean on the same rest) and
            ``<channel> zero drift``.
        """
        name = f"{self.channel} zero"
        if not t_s.size:
            return Measured(np.zeros(0), {})
        if not self.time_s.size:
            bound = Measured(np.zeros(t_s.size), {})
            return bound.with_source(
                f"{name} drift", _bounded(t_s.size, NO_REST_SHARE * largest)
            )
        weights = _weights(self.time_s, t_s)
        rests = Measured(self.value, {name: Source(self.u, self.dof)}).mapped(weights)
        if not self.drift_known:
            return rests.with_source(
                f"{name} drift", _bounded(t_s.size, ONE_REST_SHARE * largest)
            )
        factor = _root(self._drift_covariance(t_s))
        drift = Source(factor, np.full(t_s.size, self.drift_dof))
        return Measured(rests.value, {**rests.sources, f"{name} drift": drift})

    def _drift_covariance(self, t_s: Array) -> Array:
        """Covariance of what a wandering zero does between its known points.

        Between two rests a Brownian bridge, outside of them a random walk; what
        happens in one gap says nothing about another.
        """
        gap = np.searchsorted(self.time_s, t_s, side="right")
        covariance = np.zeros((t_s.size, t_s.size))
        for number in np.unique(gap):
            where = np.flatnonzero(gap == number)
            inside = 0 < number < self.time_s.size
            rate = self.drift_per_root_s if inside else self.drift_after_per_root_s
            early = np.minimum.outer(t_s[where], t_s[where])
            later = np.maximum.outer(t_s[where], t_s[where])
            if inside:
                a_s, b_s = self.time_s[number - 1], self.time_s[number]
                shared_s = (early - a_s) * (b_s - later) / (b_s - a_s)
            elif number == 0:
                shared_s = self.time_s[0] - later
            else:
                shared_s = early - self.time_s[-1]
            covariance[np.ix_(where, where)] = rate**2 * shared_s
        return covariance


def read_rests(
    channel: Series,
    holds: Sequence[Hold],
    *,
    settle_s: float,
    rest_settle_s: float = REST_SETTLE_S,
    speed: Series | None = None,
) -> Rests:
    """Read a channel in every settled rest.

    Drift is modelled as a wandering (Brownian) zero of unknown rate. With four
    rests or more the rate is learned from how far each inner rest lies from the
    straight line between its neighbours, so that a steady trend, which the
    interpolation follows, costs nothing. With two or three it is learned from
    the steps between rests, which counts a trend as wandering and errs on the
    wide side. The scatter of the rests themselves is left in: a rate smaller
    than what the rests can show is not believed.

    Args:
        channel: The readings.
        holds: All holds of the run; those of kind ``rest`` are used.
        settle_s: Truncation of a rest before which nothing has spun.
        rest_settle_s: Truncation of every later rest, whatever spun before it.
        speed: Speed readings, if any: a rest counts from where the motor has
            stopped.

    Returns:
        The readings; with fewer than two rests the drift is unknown.
    """
    spun_from_s = min(
        (hold.start_s for hold in holds if hold.kind != "rest"), default=math.inf
    )
    stopped = _stopped_threshold(speed)
    found: list[tuple[float, float, float, float]] = []
    skipped: list[str] = []
    rests = sorted((h for h in holds if h.kind == "rest"), key=lambda h: h.start_s)
    for rest in rests:
        settle = settle_s if rest.start_s < spun_from_s else rest_settle_s
        start_s = rest.start_s + settle
        if speed is not None:
            start_s = max(start_s, _last_moving_s(speed, rest, stopped))
        t_s, value = channel.between(start_s, rest.end_s)
        window = window_mean(t_s, value, channel.resolution_si)
        if math.isfinite(window.mean):
            middle_s = float(t_s[np.isfinite(value)].mean())
            found.append((middle_s, window.mean, window.u, window.dof))
        else:
            skipped.append(
                f"the rest at {rest.start_s:.1f} s gave no reading of {channel.name}: "
                f"too little of it was settled (it lasted "
                f"{rest.end_s - rest.start_s:.1f} s)"
            )
    table = np.array(found, dtype=np.float64).reshape(len(found), 4)
    inner, outer, dof = _drift_rates(table[:, 0], table[:, 1], table[:, 2])
    return Rests(
        channel=channel.name,
        time_s=table[:, 0],
        value=table[:, 1],
        u=table[:, 2],
        dof=table[:, 3],
        drift_per_root_s=inner,
        drift_after_per_root_s=outer,
        drift_dof=dof,
        skipped=tuple(skipped),
    )


def _drift_rates(time_s: Array, value: Array, u: Array) -> tuple[float, float, float]:
    """Rate between rests, rate outside of them, degrees of freedom."""
    if time_s.size < 2:
        return math.nan, math.nan, 0.0
    span_s = np.diff(time_s)
    steps2 = np.diff(value) ** 2 / span_s
    steps_noise2 = (u[:-1] ** 2 + u[1:] ** 2) / span_s
    step_rate, dof = _rate(steps2, steps_noise2, float(steps2.size))
    if time_s.size < RESTS_FOR_CURVATURE:
        return step_rate, step_rate, dof
    before_s, after_s = span_s[:-1], span_s[1:]
    both_s = before_s + after_s
    early, late = after_s / both_s, before_s / both_s
    off = value[1:-1] - early * value[:-2] - late * value[2:]
    noise2 = u[1:-1] ** 2 + (early * u[:-2]) ** 2 + (late * u[2:]) ** 2
    per_s = both_s / (before_s * after_s)
    # Neighbouring misses share a step (correlation -1/2), so n of them are
    # worth n^2 / (n + (n - 1) / 2) degrees of freedom.
    n = off.size
    rate, dof = _rate(off**2 * per_s, noise2 * per_s, n**2 / (n + 0.5 * (n - 1)))
    return rate, step_rate, dof


def _rate(seen2: Array, noise2: Array, dof: float) -> tuple[float, float]:
    """Rate and its degrees of freedom, from squares per second.

    What the rests' own scatter explains is known well; only the excess over it
    is an estimate from few values. A rate below that scatter cannot be seen and
    is not believed. A single step is an estimate from one value whatever it
    shows: two rests may agree by luck.
    """
    seen, noise = float(seen2.mean()), float(noise2.mean())
    if seen2.size > 1:
        if seen <= noise:
            return math.sqrt(noise), math.inf
        dof /= (1.0 - noise / seen) ** 2
    raised = math.sqrt(1.0 + 2.0 / dof) if dof < FEW_DOF else 1.0
    return raised * math.sqrt(seen), dof


def _stopped_threshold(speed: Series | None) -> float:
    if speed is None or not np.isfinite(speed.value_si).any():
        return math.inf
    return STOPPED_SHARE * float(np.nanmax(speed.value_si))


def _last_moving_s(speed: Series, rest: Hold, threshold: float) -> float:
    """Time of the last reading in a rest that shows the motor turning."""
    t_s, value = speed.between(rest.start_s, rest.end_s)
    moving = np.flatnonzero(value > threshold)
    return float(t_s[moving[-1]]) if moving.size else -math.inf


def _weights(known_s: Array, t_s: Array) -> Array:
    """Weights of the known points in linear interpolation, flat outside."""
    weights = np.empty((t_s.size, known_s.size))
    for column, unit in enumerate(np.eye(known_s.size)):
        weights[:, column] = np.interp(t_s, known_s, unit)
    return weights


def _bounded(count: int, half_width: float) -> Array:
    """Common factor of a rectangular bound (GUM 4.3.7), shape (count, 1)."""
    return np.full((count, 1), half_width / math.sqrt(3.0))


def _root(covariance: Array) -> Array:
    """A factor F with F F^T = covariance, also where that is singular."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)), dtype=np.float64)
