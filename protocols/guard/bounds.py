"""Check: rpm and current are physically possible, before anything was learned.

A rotor cannot outrun what Kv makes of its share of the bus voltage (this needs Kv and
a voltage), does not turn before the throttle was opened, and current flows neither
way while it is closed. Acts within 0.1 s of a speed that cannot be, within a second
of the rest.
"""

import math

from protocols.guard.now import REST_SPEED_RAD_S, Lasting, Now, Recent
from protocols.guard.trip import Trip
from protocols.limits import brief, to_trade
from protocols.rules import Rules

NAME = "bounds"
# Kv varies by a tenth; an ESC's end points move the duty by some points; a rotor
# coasts down from where the throttle was.
SPEED_SHARE = 1.2
DUTY_FRAC = 0.05
COAST_S = 1.0


class BoundsCheck:
    """Speed against Kv, current against a closed throttle."""

    def __init__(self, rest_a: float, rules: Rules, now: Now, since_s: float) -> None:
        """Begin.

        Args:
            rest_a: the most that the current may read at rest.
            rules: for the speed a volt.
            now: what is known of this moment.
            since_s: from when time counts.
        """
        self._rest_a = rest_a
        self._speed_per_volt = rules.speed_per_volt_rad_s or math.nan
        self._now = now
        self._recent = Recent(COAST_S, since_s)
        self._fast = Lasting(5, 0.1)
        self._flows = Lasting(5, 1.0)
        self._turns = Lasting(5, 1.0)

    def setpoint(self, throttle_frac: float, now_s: float) -> None:
        """That throttle was sent."""
        self._recent.take(throttle_frac, now_s)

    def speed(self, speed_rad_s: float, now_s: float) -> Trip | None:
        """A reading of the speed."""
        if not self._now.ran:
            return self._before(speed_rad_s, now_s)
        highest = self._recent.highest
        duty_frac = min(1.0, highest + DUTY_FRAC)
        voltage_v = self._now.value("voltage", now_s)
        most_rad_s = SPEED_SHARE * self._speed_per_volt * voltage_v * duty_frac
        # At zero throttle a rotor without propeller may coast for long: ``follows``.
        beyond = highest > 0 and speed_rad_s > most_rad_s
        if not self._fast.take(so=beyond, now_s=now_s):
            return None
        shown, unit = to_trade("speed", speed_rad_s)
        most, _ = to_trade("speed", most_rad_s)
        return Trip(
            check=NAME,
            cause=(
                f"The speed was {brief(shown)} {unit}; {100 * highest:.0f} % of "
                f"{brief(voltage_v)} V cannot give this motor more than {brief(most)}."
            ),
            clears="the speed is one that the motor can have",
            advice=(
                "Look at the number of poles and Kv in the article's file, then at "
                "the rpm sensor and the voltage's wiring."
            ),
        )

    def _before(self, speed_rad_s: float, now_s: float) -> Trip | None:
        """A reading of the speed before anything was driven."""
        turns = speed_rad_s > REST_SPEED_RAD_S
        if not self._turns.take(so=turns, now_s=now_s):
            return None
        shown, unit = to_trade("speed", speed_rad_s)
        return Trip(
            check=NAME,
            cause=f"The speed was {brief(shown)} {unit} before the motor was driven.",
            clears="the speed of the motor at rest is zero",
            advice=(
                "Cut the power. Does the motor turn by itself, or does the rpm sensor "
                "see something else, a lamp perhaps?"
            ),
        )

    def current(self, current_a: float, now_s: float) -> Trip | None:
        """A reading of the current."""
        closed = self._recent.highest <= 0
        flows = closed and abs(current_a) > self._rest_a
        if not self._flows.take(so=flows, now_s=now_s):
            return None
        return Trip(
            check=NAME,
            cause=f"{brief(current_a)} A flow although the throttle is at zero.",
            clears="no current flows at zero throttle",
            advice=(
                "Cut the power. Does the motor turn by itself, does something else "
                "hang on the pack, or has the current sensor's zero moved?"
            ),
        )
