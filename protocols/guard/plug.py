"""Check: each pole of the arming plug stays cooler than it can bear.

A contact has no sensor of its own, so it is judged by what is read: its drop and the
current, both counted from their zeros. Drop times current is the heat in it, which is
followed over some seconds, as a small plug is warmed. Drop over current is its
resistance; that of its metal grows with temperature, and what grows beyond what the
hottest it may get explains is hot, or letting go.

Ramps down, within two seconds of what it is that it judges by. Where the drop is not
read, nothing is judged.
"""

import math
from typing import Final

from protocols.guard.now import Lasting, Now
from protocols.guard.steady import HELD_FRAC
from protocols.guard.trip import Action, Trip
from protocols.limits import brief
from protocols.rules import PLUG_COLD_K, PLUG_HOTTEST_K, Rules

NAME = "plug"
CHANNELS: Final = {"plug-plus": "plus", "plug-minus": "minus"}
# A small plug of 1.5 g warms in about half a minute; a third of that forgives bursts
# and acts well before it is as hot as it will get. Common practice, no source.
FOLLOWED_S = 10.0
# Readings further apart leave a gap, over which nothing is known to have flowed.
GAP_S = 0.5
# A resistance is the mean over so much time and so many readings.
SLICE_S = 0.8
SLICE_READINGS = 3
SLICES = 2
# Below these a drop is mostly the amplifier's own, and no heat to speak of.
LEAST_V = 0.002
LEAST_W = 0.1
# An amplifier at the end of its range may have seen a spike.
BEYOND_READINGS = 3
BEYOND_S = 0.5
# Copper and brass contacts: about as copper, IEC 60028 (1925), of that at 20 degrees.
REL_PER_K = 0.00393


class PlugCheck:
    """One pole."""

    def __init__(self, channel: str, rules: Rules, now: Now) -> None:
        """Begin.

        Args:
            channel: of ``CHANNELS``.
            rules: how much heat it may have, and how hot it may get.
            now: throttle sent.
        """
        self._pole = CHANNELS[channel]
        self._now = now
        self._heat_w = math.inf if rules.plug_heat_w is None else rules.plug_heat_w
        hottest_k = rules.plug_max_k or PLUG_HOTTEST_K
        self._hottest_k = hottest_k
        self._growth = 1.0 + REL_PER_K * max(0.0, hottest_k - PLUG_COLD_K)
        self._sum_a, self._count = 0.0, 0
        self._before_s = math.inf
        self._followed_w = 0.0
        self._slice = (0.0, 0.0, 0)  # sums of drop and current, readings
        self._since_s = 0.0
        self._cool_ohm = math.inf
        self._grown = 0
        self._beyond = Lasting(BEYOND_READINGS, BEYOND_S)

    def current(self, current_a: float, _now_s: float) -> Trip | None:
        """A reading of the current; a drop goes with the mean since the one before."""
        if math.isfinite(current_a):
            self._sum_a += abs(current_a)
            self._count += 1
        return None

    def drop(self, drop_v: float, now_s: float) -> Trip | None:
        """A reading of the drop; its sign says only how the wires are put on."""
        if self._beyond.take(so=math.isinf(drop_v), now_s=now_s):
            return self._unknown()
        elapsed_s = now_s - self._before_s
        if not math.isfinite(drop_v) or self._count == 0:
            return None
        current_a, drop_v = self._sum_a / self._count, abs(drop_v)
        self._sum_a, self._count, self._before_s = 0.0, 0, now_s
        if not 0.0 < elapsed_s <= GAP_S:
            return None
        share = min(1.0, elapsed_s / FOLLOWED_S)
        self._followed_w += share * (drop_v * current_a - self._followed_w)
        if self._followed_w >= self._heat_w:
            return self._heated(drop_v, current_a)
        return self._resist(drop_v, current_a, now_s)

    def _resist(self, drop_v: float, current_a: float, now_s: float) -> Trip | None:
        """Its resistance against the least that it had in this spell."""
        recent = self._now.fast
        if recent.highest - recent.lowest > HELD_FRAC:
            self._slice = (0.0, 0.0, 0)
            return None
        volts, amps, readings = self._slice
        if readings == 0:
            self._since_s = now_s
        volts, amps, readings = volts + drop_v, amps + current_a, readings + 1
        self._slice = (volts, amps, readings)
        if readings < SLICE_READINGS or now_s - self._since_s < SLICE_S:
            return None
        self._slice = (0.0, 0.0, 0)
        mean_v, mean_a = volts / readings, amps / readings
        if mean_v < LEAST_V or mean_a <= 0.0:
            return None
        ohm = mean_v / mean_a
        self._cool_ohm = min(self._cool_ohm, ohm)
        so = mean_v * mean_a >= LEAST_W and ohm > self._growth * self._cool_ohm
        self._grown = self._grown + 1 if so else 0
        return self._worse(ohm) if self._grown >= SLICES else None

    def _heated(self, drop_v: float, current_a: float) -> Trip:
        return self._trip(
            f"The {self._pole} pole of the plug turns {brief(self._followed_w)} W into "
            f"heat, in the mean of {FOLLOWED_S:g} s, and may {brief(self._heat_w)} W: "
            f"{brief(1e3 * drop_v)} mV at {brief(current_a)} A.",
            "Use less throttle or shorter dwells, clean the contacts, or take a "
            "larger plug.",
        )

    def _unknown(self) -> Trip:
        return self._trip(
            f"The {self._pole} pole of the plug drops more than its amplifier can "
            "read, so nobody knows how hot it gets; at rest it did not.",
            "Look for a loose contact and at the sense wires; else spin at less, or "
            "give the amplifier less gain.",
        )

    def _worse(self, ohm: float) -> Trip:
        times = ohm / self._cool_ohm
        return self._trip(
            f"The {self._pole} pole of the plug has {brief(1e3 * ohm)} milliohm, "
            f"{times:.1f} times the {brief(1e3 * self._cool_ohm)} milliohm of this "
            f"spin's begin; warm to {self._hottest_k - 273.15:.0f} degrees Celsius it "
            f"would have {self._growth:.1f} times. It is hot, or its contact or a "
            "sense wire lets go.",
            "Look for a loose, dark or soft contact and at the sense wires; replace "
            "a plug that has got so hot.",
        )

    def _trip(self, cause: str, advice: str) -> Trip:
        return Trip(
            check=NAME,
            cause=cause,
            clears="the plug has cooled and its contacts were looked at",
            advice=f"The plug may be hot: do not touch it, let it cool. {advice}",
            action=Action.RAMP_DOWN,
        )
