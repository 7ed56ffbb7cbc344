"""Holds a thrust: an integrator that moves the throttle as readings come.

Pure: readings and times go in, a throttle and at last a reason to end come out. Only
a fresh reading of the thrust moves the throttle, so that stale data freeze it by
themselves; what is silent for longer trips the guard (``silence``). It must never
leave the goal's throttles, nor raise the throttle faster than a plan may.

Why it cannot oscillate: thrust goes about with the square of throttle (momentum
theory at a fixed bus voltage), so a share e of thrust that is missing asks for e/2
more of the throttle that there is. The throttle moves by that share in
``FOLLOW_S``, which makes a first-order loop with that time constant whatever
propeller and motor are. With a delay L such a loop does not swing over as long as
gain times L stays below 1/e = 0.37, and is stable below pi/2 (an integrator with
dead time; for example K. J. Astrom and R. M. Murray, Feedback Systems, 2008, 10.3,
from memory). The slowest load cell, ten conversions a second behind a filter of up to
0.6 s, with the motor and the wire is 0.8 s late: 0.16. A thrust that goes with the
fourth power of throttle, or a gain that is wrong by two, is still below 0.37.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from protocols.goal import Goal
from protocols.plan import MAX_HOLD_FRAC_PER_S, MAX_RAMP_FRAC_PER_S

FOLLOW_S: Final = 5.0
# The throttle that it begins with is held so long: the motor has followed, and a slow
# load cell shows it. The guard learns from it what this throttle gives.
FIRST_S: Final = 2.0
# Readings further apart than this leave a gap, over which nothing is made good.
GAP_S: Final = 0.3
# The resolution of a throttle on the wire.
STEP_FRAC: Final = 1e-4
# What decides about the end is smoothed: the voltage over noise and ripple, so little
# that a small pack's last volts cannot run away meanwhile; the thrust over turbulence.
VOLTAGE_S: Final = 0.2
THRUST_S: Final = 1.0
# Within this share of its goal a thrust is held; below it, it is not.
NEAR_SHARE: Final = 0.03
# At the highest throttle for so long and below the goal: it cannot be held.
PATIENCE_S: Final = 2.0
# A pack that has not fallen by so much since is no reason for less thrust.
FALLEN_SHARE: Final = 0.98


class End(StrEnum):
    """Why a hold ended in order."""

    FLOOR = "floor"
    """The voltage under load came down to its floor."""
    SPENT = "spent"
    """The highest throttle no longer gave the thrust, the voltage being too low."""
    FADED = "faded"
    """The highest throttle no longer gave the thrust at much the same voltage."""
    NOT_REACHED = "not reached"
    """The highest throttle never gave the thrust."""
    LONGEST = "longest"
    """It lasted for as long as it may."""


class _Smoothed:
    """A reading smoothed over a time."""

    def __init__(self, span_s: float) -> None:
        self._span_s = span_s
        self._before_s = 0.0
        self.value = math.nan

    def take(self, value: float, now_s: float) -> float:
        """Take a finite reading; returns the smoothed one."""
        if math.isnan(self.value):
            self.value = value
        else:
            elapsed_s = max(0.0, now_s - self._before_s)
            self.value += -math.expm1(-elapsed_s / self._span_s) * (value - self.value)
        self._before_s = now_s
        return self.value


@dataclass(frozen=True, slots=True)
class Held:
    """A hold that is over.

    Attributes:
        end: why.
        throttle_frac: what it ended with.
        thrust_n: what it had come to, smoothed; NaN where none was read.
        voltage_v: likewise.
        lasted_s: from its start.
        reached_s: from its start to the goal; NaN where it never was.
    """

    end: End
    throttle_frac: float
    thrust_n: float
    voltage_v: float
    lasted_s: float
    reached_s: float


class Holder:
    """One hold.

    Attributes:
        goal: what is held.
        throttle_frac: the setpoint of this moment.
        end: why it ended; None while it goes on.
    """

    def __init__(self, goal: Goal, start_frac: float, since_s: float) -> None:
        self.goal = goal
        self.throttle_frac = self._wanted_frac = start_frac
        self.end: End | None = None
        self._since_s = since_s
        self._thrust_s = math.nan
        self._thrust = _Smoothed(THRUST_S)
        self._voltage = _Smoothed(VOLTAGE_S)
        self._reached_s = self._reached_v = math.nan
        self._short_s = math.nan

    def reading(self, channel: str, value: float, now_s: float) -> None:
        """A reading, SI; only finite ones of thrust and voltage count."""
        if self.end is not None or not math.isfinite(value):
            return
        if channel == "thrust":
            self._follow(value, now_s)
        elif channel == "voltage":
            low = self._voltage.take(value, now_s) <= self.goal.floor_v
            if low and now_s - self._since_s >= VOLTAGE_S:
                self.end = End.FLOOR

    def over(self, end: End, now_s: float) -> Held:
        """What came of it, ended for that reason unless it had one of its own."""
        self.end = self.end or end
        return Held(
            end=self.end,
            throttle_frac=self.throttle_frac,
            thrust_n=self.thrust_n,
            voltage_v=self._voltage.value,
            lasted_s=now_s - self._since_s,
            reached_s=self._reached_s - self._since_s,
        )

    @property
    def thrust_n(self) -> float:
        """The thrust of now, smoothed; NaN before the first reading."""
        return self._thrust.value

    def _follow(self, thrust_n: float, now_s: float) -> None:
        """Move the throttle towards what gives the goal."""
        smooth_n = self._thrust.take(thrust_n, now_s)
        elapsed_s, self._thrust_s = now_s - self._thrust_s, now_s
        if now_s - self._since_s < FIRST_S or not 0 < elapsed_s <= GAP_S:
            return  # the first reading, one of a batch, or one after a gap
        missing = min(max(1.0 - thrust_n / self.goal.thrust_n, -1.0), 1.0)
        rate_frac_s = self._wanted_frac * missing / (2 * FOLLOW_S)
        rate_frac_s = min(max(rate_frac_s, -MAX_RAMP_FRAC_PER_S), MAX_HOLD_FRAC_PER_S)
        wanted_frac = self._wanted_frac + rate_frac_s * elapsed_s
        low_frac, high_frac = self.goal.lowest_frac, self.goal.highest_frac
        self._wanted_frac = min(max(wanted_frac, low_frac), high_frac)
        self._step()
        self._judge(smooth_n, now_s)

    def _step(self) -> None:
        """The setpoint in the wire's steps, so that a level that is held is held."""
        wanted_frac = self._wanted_frac
        at_end = wanted_frac in (self.goal.lowest_frac, self.goal.highest_frac)
        if at_end:
            self.throttle_frac = wanted_frac
        elif abs(wanted_frac - self.throttle_frac) >= STEP_FRAC:
            steps = math.floor(wanted_frac / STEP_FRAC)
            self.throttle_frac = max(steps * STEP_FRAC, self.goal.lowest_frac)

    def _judge(self, smooth_n: float, now_s: float) -> None:
        """Whether the thrust can be held."""
        near_n = (1.0 - NEAR_SHARE) * self.goal.thrust_n
        if smooth_n >= near_n:
            if math.isnan(self._reached_s):
                self._reached_s, self._reached_v = now_s, self._voltage.value
            self._short_s = math.nan
        elif self._wanted_frac < self.goal.highest_frac:
            self._short_s = math.nan
        elif math.isnan(self._short_s):
            self._short_s = now_s
        elif now_s - self._short_s >= PATIENCE_S:
            self.end = self._why_short()

    def _why_short(self) -> End:
        if math.isnan(self._reached_s):
            return End.NOT_REACHED
        # Where no voltage was read it explains nothing.
        fallen = self._voltage.value <= FALLEN_SHARE * self._reached_v
        return End.SPENT if fallen else End.FADED
