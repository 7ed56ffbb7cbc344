"""Check: winding, ESC and plug stay below the hottest they may get.

Ramps down a little below, cuts at it. Between the threshold and the temperature at
which it clears it goes on asking for what it asked, so that a reading that flickers
about the threshold cannot start and stop a motor.

A temperature that is known to be measured and gives no number, or none that could
be, trips too. Where it is not measured, or nobody said how hot the part may get,
nothing is judged. Acts within three readings; on silence after two seconds.
"""

import math

from daq import units
from protocols.guard.trip import Action, Trip

NAME = "heat"
MARGIN_K = 10.0
HYSTERESIS_K = 10.0
READINGS = 3
SILENT_S = 2.0
# A sensor that is broken or shorted reads the end of its scale; nobody tests a motor
# in more frost than this. Common practice, no source.
COLDEST_K = 253.15
HOTTEST_K = 573.15

CHANNELS = {"winding-temp": "winding", "esc-temp": "ESC", "plug-temp": "plug"}
_ADVICE = {
    "winding-temp": (
        "Let the motor cool; use less throttle, shorter dwells or a smaller propeller."
    ),
    "esc-temp": "Let the ESC cool, give it air, and use less throttle.",
    "plug-temp": (
        "Do not touch the plug; let it cool, look at its contacts, and use less "
        "throttle or a larger plug."
    ),
}


class HeatCheck:
    """One temperature against its maximum, kelvin."""

    def __init__(self, channel: str, max_k: float, since_s: float) -> None:
        """Begin.

        Args:
            channel: of ``CHANNELS``.
            max_k: the hottest the part may get.
            since_s: from when its silence counts; infinity until it is first heard.
        """
        self._channel = channel
        self._max_k = max_k
        self._heard_s = since_s
        self._lost = 0
        self._warm = 0
        self._hot = 0
        self._ramping = False

    def take(self, temperature_k: float, now_s: float) -> Trip | None:
        """A reading, number or not."""
        if self._heard_s == math.inf:
            self._heard_s = now_s
        if not (
            math.isfinite(temperature_k) and COLDEST_K <= temperature_k <= HOTTEST_K
        ):
            self._lost += 1
            return self._no_number() if self._lost >= READINGS else None
        self._lost = 0
        self._heard_s = now_s
        self._hot = self._hot + 1 if temperature_k >= self._max_k else 0
        warm = temperature_k >= self._max_k - MARGIN_K
        self._warm = self._warm + 1 if warm else 0
        if self._warm >= READINGS:
            self._ramping = True
        elif temperature_k < self._max_k - MARGIN_K - HYSTERESIS_K:
            self._ramping = False
        if self._hot >= READINGS:
            return self._too_hot(temperature_k, Action.CUT)
        return self._too_hot(temperature_k, Action.RAMP_DOWN) if self._ramping else None

    @property
    def deadline_s(self) -> float:
        """When its silence trips."""
        return self._heard_s + SILENT_S

    def judge(self, now_s: float) -> Trip | None:
        """Whether it has been silent for too long."""
        return None if now_s < self.deadline_s else self._no_number()

    def _too_hot(self, temperature_k: float, action: Action) -> Trip:
        return Trip(
            check=NAME,
            cause=(
                f"The {CHANNELS[self._channel]} is at "
                f"{units.k_to_c(temperature_k):.0f} degrees Celsius; it may get "
                f"{units.k_to_c(self._max_k):.0f}."
            ),
            clears=self._clears,
            advice=_ADVICE[self._channel],
            action=action,
        )

    def _no_number(self) -> Trip:
        return Trip(
            check=NAME,
            cause=f"{self._channel} gives no temperature that could be.",
            clears=self._clears,
            advice=f"Look at the {self._channel} sensor and its wiring.",
            action=Action.RAMP_DOWN,
        )

    @property
    def _clears(self) -> str:
        cool_c = units.k_to_c(self._max_k - MARGIN_K - HYSTERESIS_K)
        return f"{self._channel} reads below {cool_c:.0f} degrees Celsius"
