"""The ESC: from a servo pulse to the duty of the bridge, and its own draw.

What its switching costs and stirs up is in ``chopped``.
"""

import math

from daq.stand.plant.truth_parts import EscTruth

PULSE_SHORTEST_S = 0.8e-3
PULSE_LONGEST_S = 2.2e-3
"""Outside these a pulse counts as none (common practice, no source)."""


class Esc:
    """Duty rises with the pulse between its end points, straight or in a bow.

    The bow, x + 4 b x (1 - x), is the plant's own; speed controllers map throttle
    to duty in ways of their makers (common practice, no source).

    The bridge is averaged over its switching: motor voltage = duty * bus voltage,
    bus current = duty * motor current + own draw (the averaged model of a buck
    converter; for example Erickson and Maksimovic, Fundamentals of Power
    Electronics, ch. 2; from memory). No active braking, no start-up sequence.
    Without a valid pulse, below the start threshold, and below the drop-out
    voltage of its processor the bridge is open. A slew limit slows the duty's
    rise only, so a cut is a cut.

    Attributes:
        arms: False: it stays silent, whatever the pulse.
        heeds_zero: False: it goes on with the duty it had when the pulse falls to
            zero or goes away.
        duty_frac: duty at the end of the last step.
        resistance_ohm: on resistance of the bridge in the motor's circuit.
        dropout_v: bus voltage below which its processor is off.
        capacitance_f: bus capacitor on its input.
    """

    __slots__ = (
        "_bow",
        "_busy_draw_a",
        "_idle_a",
        "_low_s",
        "_rise",
        "_span_s",
        "_start",
        "_target",
        "arms",
        "capacitance_f",
        "dropout_v",
        "duty_frac",
        "heeds_zero",
        "resistance_ohm",
    )

    def __init__(self, truth: EscTruth, step_s: float) -> None:
        self.resistance_ohm = truth.on_resistance_ohm
        self.dropout_v = truth.dropout_v
        self.capacitance_f = truth.bus_capacitance_f
        self.arms = self.heeds_zero = True
        self.duty_frac = 0.0
        self._target = 0.0
        self._low_s = truth.pulse_low_s
        self._span_s = truth.pulse_high_s - truth.pulse_low_s
        self._bow = 4.0 * truth.duty_bow_frac
        self._start = truth.start_throttle_frac
        self._rise = (
            math.inf if truth.slew_frac_s is None else truth.slew_frac_s * step_s
        )
        self._idle_a = truth.idle_current_a
        self._busy_draw_a = truth.idle_current_a + truth.electronics_draw_a

    def command(self, pulse_s: float) -> None:
        """Take the pulse width that it is given from now on; 0 or NaN: none."""
        target = 0.0
        if self.arms and PULSE_SHORTEST_S <= pulse_s <= PULSE_LONGEST_S:
            throttle = min(1.0, (pulse_s - self._low_s) / self._span_s)
            if throttle > 0.0 and throttle >= self._start:
                target = throttle + self._bow * throttle * (1.0 - throttle)
        if target > 0.0 or self.heeds_zero or not self.arms:
            self._target = target

    def advance(self, bus_v: float) -> float:
        """One step; returns the mean duty over it."""
        if bus_v < self.dropout_v:
            self.duty_frac = 0.0
            return 0.0
        duty = self.duty_frac
        target = self._target
        if duty == target:
            return duty
        gap, rise = target - duty, self._rise
        if gap > rise:
            self.duty_frac = duty + rise
            return duty + 0.5 * rise
        self.duty_frac = target
        return target - 0.5 * gap * gap / rise if gap > 0.0 else target

    def draw_a(self, duty_frac: float) -> float:
        """Its own draw: idle, and more while it switches."""
        return self._busy_draw_a if duty_frac > 0.0 else self._idle_a
