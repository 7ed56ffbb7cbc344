"""The last part of the proof: with the supply on, at the lowest running throttle.

The motor is brought up until it is seen to turn, the lease is left to lapse, and
current and speed have to fall. That shows the whole chain at once: words, stand,
pulse, ESC. It also shows that the ESC arms at all. After the checklist only.
"""

import math
from collections.abc import Generator
from typing import Final

from daq.link import messages as m
from protocols.proof.exercises import LEASE_SLACK_S, start
from protocols.proof.trial import (
    NotProven,
    Steps,
    Trial,
    clear,
    expect_event,
    pause,
)

GUARD: Final = "lease while running"
RISE_PER_S: Final = 0.15  # throttle, gently: the first time that anything turns
SOUGHT_MAX: Final = 0.35  # any ESC that is armed runs its motor by then
FIRMER: Final = 300  # 3 % more than what it just turns at
HOLD_S: Final = 0.4
LOOK_S: Final = 0.15  # readings are averaged over this long
LOOK_READINGS: Final = 3.5  # and over so many at least, where they come slowly
# 100 rad/s are 955 rpm: nothing that only rocks does that.
TURNS_RAD_S: Final = 100.0
DRAWS_A: Final = 0.08  # more than at rest, where there is no speed to read
DRAWS_STEPS: Final = 3  # of what the sensor can tell: one may be noise
FALL_S: Final = 1.0
FALLEN_SHARE: Final = 0.5


def running(trial: Trial, highest: float) -> Steps:
    """Bring the motor up, let the lease lapse, and see current and speed fall.

    Args:
        trial: granting with ``arm``, its entries the real limits.
        highest: the plan's highest throttle, 0 to 1, never exceeded.

    Raises:
        NotProven: it does not start, or does not stop.
    """
    rest_a = yield from _mean(trial, "current")
    yield from start(trial, GUARD, None)
    drawn_a, turned_rad_s = yield from _hold(trial, highest, rest_a)
    trial.hold, trial.expected = None, m.Cause.LEASE_ENDED
    trial.mark()
    within_s = trial.lease_ms * 1e-3 + LEASE_SLACK_S
    yield from expect_event(trial, GUARD, m.Cause.LEASE_ENDED, within_s)

    def fallen() -> bool:
        current = trial.seen["current"] - rest_a <= FALLEN_SHARE * drawn_a
        speed = trial.seen.get("speed", 0.0)
        if "speed" in trial.seen and math.isnan(speed):
            return False
        return current and (
            math.isnan(turned_rad_s) or speed <= FALLEN_SHARE * turned_rad_s
        )

    def stays_down() -> Generator[float, None, bool]:
        """One reading may be noise, or of a damaged line."""
        if not fallen():
            return False
        trial.took_s = trial.now_s - trial.marked_s
        mean_a = (yield from _mean(trial, "current")) - rest_a
        return mean_a <= FALLEN_SHARE * drawn_a and fallen()

    end_s = trial.now_s + FALL_S
    while not (yield from stays_down()):
        if trial.now_s >= end_s:
            raise NotProven(
                GUARD,
                "The proof failed: the throttle went to zero, but the motor ran on.",
                "PULL THE PLUG. The ESC ignores a zero pulse: look at its end points.",
                runs_on=True,
            )
        yield end_s
    yield from clear(trial, GUARD)


def _hold(
    trial: Trial, highest: float, rest_a: float
) -> Generator[float, None, tuple[float, float]]:
    """Bring the motor up and hold it there; what it draws and how fast it turns.

    Where one reading looked like a turning motor and their mean does not, the throttle
    goes up further.

    Raises:
        NotProven: it is not seen to turn, up to the highest allowed.
    """
    from_frac = 0.0
    while True:
        yield from _bring_up(trial, min(highest, SOUGHT_MAX), rest_a, from_frac)
        trial.hold = min(round(highest * m.THROTTLE_FULL), (trial.hold or 0) + FIRMER)
        yield from pause(trial, HOLD_S)
        drawn_a = (yield from _mean(trial, "current")) - rest_a
        turned_rad_s = yield from _mean(trial, "speed")
        if math.isfinite(turned_rad_s) or drawn_a > _draws_a(trial):
            return drawn_a, turned_rad_s
        from_frac = trial.hold / m.THROTTLE_FULL


def _bring_up(
    trial: Trial, highest: float, rest_a: float, from_frac: float = 0.0
) -> Steps:
    """Raise the throttle until the motor is seen to turn.

    Raises:
        NotProven: it does not, up to the highest allowed.
    """
    begun_s = trial.now_s
    while not _turns(trial, rest_a):
        throttle = from_frac + RISE_PER_S * (trial.now_s - begun_s)
        if throttle > highest:
            raise NotProven(
                GUARD,
                f"The proof stopped: at {100 * highest:.0f} % throttle the motor was "
                "not seen to turn.",
                "Did the ESC arm (its beeps)? Are its end points and its wires right?",
            )
        trial.hold = round(throttle * m.THROTTLE_FULL)
        yield trial.now_s + 0.02


def _turns(trial: Trial, rest_a: float) -> bool:
    speed = trial.seen.get("speed")
    if speed is not None and math.isfinite(speed):
        return speed > TURNS_RAD_S
    return trial.seen.get("current", math.nan) - rest_a > _draws_a(trial)


def _draws_a(trial: Trial) -> float:
    """What a turning motor draws more than at rest, where its sensor can tell."""
    page = trial.stand.channel("current")
    step_a = 0.0 if page is None else 1 / abs(page.counts_per_unit)
    return max(DRAWS_A, DRAWS_STEPS * step_a)


def _look_s(trial: Trial, name: str) -> float:
    """How long a reading is looked at for a mean of it."""
    periods_s = [
        1e-6 * layout.page.period_us
        for layout in trial.stand.layouts
        if any(page.name == name for page in layout.channels)
    ]
    return max([LOOK_S, *(LOOK_READINGS * period_s for period_s in periods_s)])


def _mean(trial: Trial, name: str) -> Generator[float, None, float]:
    """Average of a reading over a while; NaN where the stand has none."""
    total, number = 0.0, 0
    end_s = trial.now_s + _look_s(trial, name)
    while trial.now_s < end_s:
        value = trial.seen.get(name, math.nan)
        if math.isfinite(value):
            total += value
            number += 1
        yield end_s
    return total / number if number else math.nan
