"""Check: current and rpm fall when the throttle falls.

An ESC that goes on driving does not know that it should stop, so neither may the
bench. To a lower level both must come part of the way that the throttle came; at
zero throttle the current must be gone and the rotor run out, as ``stopped`` says.

Judged when the throttle has been down for long enough that everything should have
followed (0.4 s to 0.8 s) and for 0.15 s more; a rotor that coasts has longer, as
long as it goes on slowing down.
"""

import math

from protocols.guard.now import Lasting, Now, Recent, Smooth
from protocols.guard.stopped import StoppedCheck
from protocols.guard.trip import Trip
from protocols.limits import brief, to_trade

NAME = "follows"
# Falls smaller than a fifth hide in sag and noise; they are judged once they add up.
FALL_SHARE = 0.8
# Below this an ESC may do as it likes: deadband, start-up. Common practice.
LOWEST_FRAC = 0.08
# Current goes with the square of the throttle or more and has to come down at least
# in proportion; speed goes in proportion or a little less and has to come half way.
CURRENT_WAY = 1.0
SPEED_WAY = 0.5
# What an rpm sensor's steps and noise may leave.
FLOOR_SPEED_RAD_S = 30.0


class Fall:
    """One channel, judged from where the throttle last stood."""

    def __init__(self, channel: str, way: float, floor: float) -> None:
        """Begin.

        Args:
            channel: current or speed.
            way: how much of the throttle's way down it has to come, 0 to 1.
            floor: what may be left in any case, SI.
        """
        self._channel = channel
        self._way = way
        self._floor = floor
        self._smooth = Smooth()
        self._from_frac = self._from = 0.0
        self._lasting = Lasting(5, 0.15)

    def take(self, value: float, recent: Recent, now_s: float) -> bool:
        """Whether a finite reading stayed up although the throttle came down."""
        smooth = self._smooth.take(value, now_s)
        if recent.lowest >= self._from_frac:  # as high as before: it counts from here
            self._from_frac, self._from = recent.lowest, smooth
            return self._lasting.take(so=False, now_s=now_s)
        if not LOWEST_FRAC <= recent.highest <= FALL_SHARE * self._from_frac:
            return self._lasting.take(so=False, now_s=now_s)
        stays = smooth > self.bound(recent.highest)
        settled = recent.lowest == recent.highest
        if settled and not stays:  # it counts from here now
            self._from_frac, self._from = recent.highest, smooth
        return self._lasting.take(so=stays, now_s=now_s)

    def bound(self, throttle_frac: float) -> float:
        """The most that may be read once the throttle is this low."""
        left = 1.0 - self._way * (1.0 - throttle_frac / self._from_frac)
        return left * self._from + self._floor

    def forget(self) -> None:
        """The motor rests; the next rise begins anew."""
        self._from_frac = 0.0
        self._smooth.forget()

    def words(self) -> str:
        """What it stayed at, and from where."""
        now, unit = to_trade(self._channel, self._smooth.value)
        before, _ = to_trade(self._channel, self._from)
        return (
            f"the {self._channel} did not: {brief(now)} {unit}, before "
            f"{brief(before)} {unit}"
        )


class FollowsCheck:
    """Current and speed, each by itself."""

    def __init__(self, rest_a: float, now: Now) -> None:
        """Begin.

        Args:
            rest_a: the most that the current may read at rest.
            now: what is known of this moment.
        """
        self._rest_a = rest_a
        self._now = now
        self._current = Fall("current", CURRENT_WAY, rest_a / 2)
        self._speed = Fall("speed", SPEED_WAY, FLOOR_SPEED_RAD_S)
        self._stopped: StoppedCheck | None = None

    def setpoint(self, throttle_frac: float, now_s: float) -> None:
        """That throttle was sent."""
        if throttle_frac > 0:
            self._stopped = None
        elif self._now.ran and self._stopped is None:
            self._stopped = StoppedCheck(self._rest_a, now_s)
            self._current.forget()
            self._speed.forget()

    def current(self, current_a: float, now_s: float) -> Trip | None:
        """A reading of the current."""
        if self._stopped is not None:
            return self._at_zero(self._stopped, "current", current_a, now_s)
        if math.isfinite(current_a) and self._current.take(
            current_a, self._now.fast, now_s
        ):
            return self._lower(self._current)
        return None

    def speed(self, speed_rad_s: float, now_s: float) -> Trip | None:
        """A reading of the speed."""
        if self._stopped is not None:
            return self._at_zero(self._stopped, "speed", speed_rad_s, now_s)
        if math.isfinite(speed_rad_s):
            stays = self._speed.take(speed_rad_s, self._now.fast, now_s)
            if stays and not self._now.coasting.slows(now_s):
                return self._lower(self._speed)
        return None

    def _lower(self, fall: Fall) -> Trip:
        percent = 100 * self._now.throttle_frac
        return _trip(f"The throttle fell to {percent:.0f} % but {fall.words()}")

    @staticmethod
    def _at_zero(
        stopped: StoppedCheck, channel: str, value: float, now_s: float
    ) -> Trip | None:
        stopped.reading(channel, value, now_s)
        if stopped.verdict(now_s) is not False:
            return None
        shown, unit = to_trade(channel, value)
        return _trip(
            f"The throttle is at zero but the {channel} still at {brief(shown)} {unit}"
        )


def _trip(cause: str) -> Trip:
    return Trip(
        check=NAME,
        cause=f"{cause}.",
        clears="current and rpm are those of a motor at rest",
        advice=(
            "Cut the power before you go near: the ESC may ignore the throttle. Then "
            "look at its signal wire, its calibration and its settings."
        ),
    )
