"""Faults of the article and its supply: what they change in its condition.

Each changes the plant's switches in ``Condition`` and nothing else, so that any
of them can be at work together. Figures of draws are common practice, no source,
where none is named.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from typing_extensions import override

from daq.stand.device import TICK_S
from daq.stand.faults.fault import Lasting, figure
from daq.stand.plant.condition import Condition


@dataclass(slots=True)
class Course:
    """How far one fault has come.

    Attributes:
        since_s: time since its start.
        rng: for what is random in it.
        until_s: for its own use: when something passing is over.
    """

    rng: np.random.Generator
    since_s: float = 0.0
    until_s: float = -1.0


@dataclass(frozen=True, slots=True)
class ArticleFault(Lasting, ABC):
    """A fault of the article or its supply.

    Attributes:
        moves: whether what it does changes while it lasts, so that it is asked
            again every millisecond.
    """

    moves: ClassVar[bool] = False

    @abstractmethod
    def shape(self, condition: Condition, course: Course) -> None:
        """Do to the condition what it does."""


@dataclass(frozen=True, slots=True)
class ThrownPropeller(ArticleFault):
    """The propeller comes off: no torque, no thrust, less inertia."""

    kind: ClassVar[str] = "thrown-propeller"

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.propeller_on = False

    @override
    def words(self) -> str:
        return "the propeller is off"


@dataclass(frozen=True, slots=True)
class StalledMotor(ArticleFault):
    """Something blocks the rotor; the winding limits the current."""

    kind: ClassVar[str] = "stalled-motor"

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.rotor_free = False

    @override
    def words(self) -> str:
        return "the rotor is blocked"


@dataclass(frozen=True, slots=True)
class DesynchronisedMotor(ArticleFault):
    """The ESC has lost the rotor and drives it at the wrong angle.

    Torque and back-EMF are a share of the motor's constant that jumps every
    millisecond, the same share for both, so that no energy comes from nowhere;
    current flows for a part of each phase only, which shows as a resistance that
    jumps too. The speed is read off the ESC's commutation and means nothing.

    Attributes:
        least_grip_frac: the lowest share; below 0 it brakes.
        most_grip_frac: the highest.
        roughness: how many times its resistance the circuit has at most.
    """

    kind: ClassVar[str] = "desynchronised-motor"
    moves: ClassVar[bool] = True

    least_grip_frac: float = figure(-0.3, -1.0, 1.0, (-0.4, -0.1))
    most_grip_frac: float = figure(0.4, -1.0, 1.0, (0.1, 0.5))
    roughness: float = figure(2.5, 1.0, 10.0, (1.3, 3.0))

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        span = self.most_grip_frac - self.least_grip_frac
        condition.grip_frac *= self.least_grip_frac + span * course.rng.random()
        condition.loop_factor *= 1.0 + (self.roughness - 1.0) * course.rng.random()

    @override
    def words(self) -> str:
        return "the motor is out of step"


@dataclass(frozen=True, slots=True)
class HotMotor(ArticleFault):
    """The winding is hot when it begins, and heats faster while it lasts.

    Attributes:
        rise_k: how much hotter it is at once.
        heating_factor: on the heat that goes into it.
    """

    kind: ClassVar[str] = "hot-motor"

    rise_k: float = figure(60.0, 0.0, 300.0, (20.0, 90.0))
    heating_factor: float = figure(2.0, 1.0, 20.0, (1.5, 6.0))

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.winding_rise_k += self.rise_k
        condition.heating_factor *= self.heating_factor

    @override
    def words(self) -> str:
        times = f"{self.heating_factor:.3g} times"
        return f"the motor is {self.rise_k:.3g} K hotter and takes {times} the heat"


@dataclass(frozen=True, slots=True)
class WeakPack(ArticleFault):
    """A worn or cold pack.

    Attributes:
        resistance_factor: on its resistances.
    """

    kind: ClassVar[str] = "weak-pack"

    resistance_factor: float = figure(3.0, 1.0, 100.0, (1.5, 6.0))

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.pack_resistance_factor *= self.resistance_factor

    @override
    def words(self) -> str:
        return f"the pack has {self.resistance_factor:.3g} times its resistance"


@dataclass(frozen=True, slots=True)
class WrongPack(ArticleFault):
    """A pack of another cell count.

    Attributes:
        cells: how many.
    """

    kind: ClassVar[str] = "wrong-pack"

    cells: int = figure(4, 1, 14, (2, 6), passed_over=3)  # right in the demo

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.cells = self.cells

    @override
    def words(self) -> str:
        return f"the pack has {self.cells} cells"


@dataclass(frozen=True, slots=True)
class NearlyEmptyPack(ArticleFault):
    """A pack that was used before.

    Attributes:
        charge_frac: what is left in it at most.
    """

    kind: ClassVar[str] = "nearly-empty-pack"

    charge_frac: float = figure(0.08, 0.0, 1.0, (0.01, 0.2))

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        before = condition.charge_frac
        now = self.charge_frac if before is None else min(before, self.charge_frac)
        condition.charge_frac = now

    @override
    def words(self) -> str:
        return f"the pack has {100.0 * self.charge_frac:.3g} % left"


@dataclass(frozen=True, slots=True)
class LoosePlug(ArticleFault):
    """The plug's contact gets worse, and opens now and then.

    Attributes:
        growth_ohm_s: how fast its resistance grows.
        most_ohm: where that ends.
        openings_s: how many times a second it opens, in the mean.
        open_s: for how long.
    """

    kind: ClassVar[str] = "loose-plug"
    moves: ClassVar[bool] = True

    growth_ohm_s: float = figure(0.02, 0.0, 10.0, (0.005, 0.2))
    most_ohm: float = figure(0.5, 0.0, 100.0, (0.05, 1.0))
    openings_s: float = figure(1.0, 0.0, 1000.0, (0.2, 5.0))
    open_s: float = figure(0.005, 0.0, 60.0, (0.001, 0.05))

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.plug_ohm += min(self.most_ohm, self.growth_ohm_s * course.since_s)
        if course.rng.random() < self.openings_s * TICK_S:
            course.until_s = course.since_s + self.open_s
        if course.since_s < course.until_s:
            condition.plug_in = False

    @override
    def words(self) -> str:
        grows = f"gains {self.growth_ohm_s:.3g} ohm a second"
        opens = f"opens {self.openings_s:.3g} times a second"
        return f"the plug {grows} up to {self.most_ohm:.3g} ohm and {opens}"


@dataclass(frozen=True, slots=True)
class PlugOut(ArticleFault):
    """The arming plug is pulled, and put back where there is an end."""

    kind: ClassVar[str] = "plug-out"

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.plug_in = False

    @override
    def words(self) -> str:
        return "the arming plug is out"


@dataclass(frozen=True, slots=True)
class EscNotArming(ArticleFault):
    """The ESC stays silent, whatever the pulse."""

    kind: ClassVar[str] = "esc-not-arming"

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.esc_arms = False

    @override
    def words(self) -> str:
        return "the ESC does not arm"


@dataclass(frozen=True, slots=True)
class EscIgnoringZero(ArticleFault):
    """The ESC goes on with its last duty though the pulse is low, or gone."""

    kind: ClassVar[str] = "esc-ignoring-zero"

    @override
    def shape(self, condition: Condition, course: Course) -> None:
        condition.esc_heeds_zero = False

    @override
    def words(self) -> str:
        return "the ESC ignores zero throttle"


@dataclass(frozen=True, slots=True)
class StopLoopOpen(Lasting):
    """Somebody presses the button or opens the guard; a switch, not the article."""

    kind: ClassVar[str] = "stop-loop-open"

    @override
    def words(self) -> str:
        return "the stop loop is open"
