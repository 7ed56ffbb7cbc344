"""The mount: what the load cell feels of the thrust.

In line with the axis; with an arm between them it is ``arm.Arm`` that presses.
"""

import math

from daq.stand.plant.truth_parts import MountTruth


class Mount:
    """One damped resonance between propeller and load cell.

    x'' + 2 zeta w x' + w^2 x = w^2 F, stepped by its exact answer to a force
    held over the step. Source: the damped oscillator's free response, any
    textbook of vibration (for example Den Hartog, Mechanical Vibrations; from
    memory).

    Attributes:
        force_n: force in the load cell.
        rate_n_s: how fast it changes.
    """

    __slots__ = ("_ff", "_fr", "_rf", "_rr", "force_n", "rate_n_s")

    def __init__(self, truth: MountTruth, step_s: float) -> None:
        natural = 2.0 * math.pi * truth.resonance_hz
        root = math.sqrt(1.0 - truth.damping_ratio**2)
        damped = natural * root
        fade = math.exp(-truth.damping_ratio * natural * step_s)
        cosine = fade * math.cos(damped * step_s)
        sine = fade * math.sin(damped * step_s)
        self._ff = cosine + truth.damping_ratio / root * sine
        self._fr = sine / damped
        self._rf = -natural / root * sine
        self._rr = cosine - truth.damping_ratio / root * sine
        self.force_n = 0.0
        self.rate_n_s = 0.0

    def place(self, load_n: float) -> float:
        """What presses on the mass point from now on: here, as on the axis."""
        return load_n

    def advance(self, push_n: float) -> float:
        """One step under a force held over it; returns the force at its end."""
        away = self.force_n - push_n
        rate = self.rate_n_s
        self.rate_n_s = self._rf * away + self._rr * rate
        force = push_n + self._ff * away + self._fr * rate
        self.force_n = force
        return force
