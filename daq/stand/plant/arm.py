"""The arm between thrust axis, check masses and load cell, and what shakes it.

What the propeller pulls is one thing and what reaches the cell another: levers, an
axis that is not quite straight, air that pushes back on the arm, torque that leaks
in. Never changes the thrust itself.
"""

import cmath
import math

from daq.stand.plant.mount import Mount
from daq.stand.plant.propeller import Propeller
from daq.stand.plant.rotor import Rotor
from daq.stand.plant.truth_effects import ArmTruth, VibrationTruth
from daq.stand.plant.truth_parts import MountTruth


class Arm:
    """Moments about the pivot, over the cell's own arm.

    F = s cos(a) T (1 - d - e|T|) L_T/L_c + k q Q + W L_W/L_c, with thrust T, torque
    Q, weight W on the mass point, s = -1 for a reversed mount and q = -1 for the
    opposite rotation. Sources: the law of the lever; the drag of what stands in a
    slipstream grows with its dynamic pressure, and so with thrust (momentum theory,
    J. G. Leishman, Principles of Helicopter Aerodynamics, 2000, ch. 2; size of d:
    common practice, no source).

    Attributes:
        turned_rad: how far the shaft has turned.
        speed_rad_s: how fast it turns at the end of the step.
        thrust_share: of a newton of thrust, what the cell would feel without wash.
    """

    __slots__ = (
        "_drag",
        "_drag_growth",
        "_half_step_s",
        "_leak",
        "_mass_share",
        "_mount",
        "_placed_n",
        "_propeller",
        "_rotor",
        "_torque_nm",
        "speed_rad_s",
        "thrust_share",
        "turned_rad",
    )

    def __init__(
        self,
        truth: ArmTruth,
        mount: Mount,
        propeller: Propeller,
        rotor: Rotor,
        step_s: float,
    ) -> None:
        self._mount, self._propeller, self._rotor = mount, propeller, rotor
        self._half_step_s = 0.5 * step_s
        straight = math.cos(truth.misalignment_rad) * truth.thrust_arm_m
        self.thrust_share = straight / truth.cell_arm_m
        self._drag, self._drag_growth = truth.wash_drag_frac, truth.wash_drag_per_n
        if truth.reversed_mount:
            self.thrust_share = -self.thrust_share
            self._drag, self._drag_growth = truth.wash_drag_reversed_frac, 0.0
        leak = truth.torque_leak_n_nm
        self._leak = -leak if truth.opposite_rotation else leak
        self._mass_share = truth.mass_arm_m / truth.cell_arm_m
        self._placed_n = self._torque_nm = 0.0
        self.turned_rad = self.speed_rad_s = 0.0

    def place(self, load_n: float) -> float:
        """What presses on the mass point from now on; returns it."""
        self._placed_n = load_n
        return load_n

    def advance(self, push_n: float) -> float:
        """One step; returns the force in the cell at its end.

        Args:
            push_n: mean thrust over the step, and what is placed.
        """
        speed = self._rotor.speed_rad_s
        self.turned_rad += self._half_step_s * (self.speed_rad_s + speed)
        self.speed_rad_s = speed
        torque = self._propeller.torque_nm
        mean_torque = 0.5 * (self._torque_nm + torque)
        self._torque_nm = torque
        placed = self._placed_n
        thrust = push_n - placed
        kept = 1.0 - self._drag - self._drag_growth * abs(thrust)
        return self._mount.advance(
            self.thrust_share * kept * thrust
            + self._leak * mean_torque
            + self._mass_share * placed
        )


class Vibration:
    """What imbalance and passing blades leave in a conversion of the load cell.

    Amplitudes: a share of m r omega^2 once a revolution, a share of thrust at the
    blades' rate. Both are far beyond half the plant's rate of steps, so that they
    are never stepped: the mount's steady answer H(i omega) = w^2/(w^2 - omega^2 +
    2 i zeta w omega) is averaged over the conversion in closed form, with the phase
    the shaft really has at its ends. Two approximations: the mount answers at once
    as it would in the end, and the speed is even within one conversion.
    Sources: rotating imbalance and force transmissibility, any textbook of vibration
    (for example Den Hartog, Mechanical Vibrations; from memory); a mean over a span
    is a multiplication by sinc (for example Oppenheim and Schafer, Discrete-Time
    Signal Processing; from memory).
    """

    __slots__ = (
        "_arm",
        "_axial_kg_m",
        "_blade_frac",
        "_blades",
        "_damping",
        "_natural",
        "_propeller",
        "_was_rad",
    )

    def __init__(
        self,
        truth: VibrationTruth,
        blades: int,
        mount: MountTruth,
        arm: Arm,
        propeller: Propeller,
    ) -> None:
        self._axial_kg_m = truth.axial_frac * truth.imbalance_kg_m
        self._blade_frac, self._blades = truth.blade_pass_frac, blades
        self._natural = 2.0 * math.pi * mount.resonance_hz
        self._damping = mount.damping_ratio
        self._arm, self._propeller = arm, propeller
        self._was_rad = 0.0

    def mean_n(self, left_s: float, period_s: float) -> float:
        """Mean force over the conversion that has just ended.

        Args:
            left_s: from the end of the step back to the end of the conversion; 0
                or less.
            period_s: how long the conversion was.
        """
        arm = self._arm
        now = arm.turned_rad + arm.speed_rad_s * left_s
        span, middle = now - self._was_rad, 0.5 * (now + self._was_rad)
        self._was_rad = now
        if span <= 0.0:
            return 0.0
        speed = span / period_s
        once = self._axial_kg_m * speed * speed
        passing = self._blade_frac * self._propeller.thrust_n
        return arm.thrust_share * (
            self._left(once, speed, span, middle)
            + self._left(
                passing,
                self._blades * speed,
                self._blades * span,
                self._blades * middle,
            )
        )

    def _left(
        self, force_n: float, speed_rad_s: float, span: float, middle: float
    ) -> float:
        """What a force that goes as the cosine of an angle leaves in the mean."""
        natural = self._natural
        square = natural * natural
        answer = square / complex(
            square - speed_rad_s * speed_rad_s,
            2.0 * self._damping * natural * speed_rad_s,
        )
        mean = math.sin(0.5 * span) / (0.5 * span)
        return force_n * mean * (answer * cmath.rect(1.0, middle)).real
