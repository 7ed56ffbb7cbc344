"""What a motor is given at its bridge: throttle times bus voltage.

An averaged bridge makes the same of a low voltage and much throttle as of a high one
and little. So what a motor gives against that product holds on any bus voltage, and a
throttle is restated for another one by a division. A controller whose duty is not quite
in proportion to the throttle is a bound on how far a throttle was moved.
"""

import math
from dataclasses import dataclass
from typing import Final

from daq.analysis.curves import Curve, draw
from daq.analysis.levels import Relation
from daq.analysis.measured import Measured, combine
from daq.analysis.models import Model, Polynomial, PowerLaw, SquareRoot
from daq.analysis.plateaus import Plateaus

#: A speed controller's duty is not quite in proportion to the throttle: this share of
#: how far a throttle was moved, as a rectangular bound (common practice, no source).
DUTY_SHARE: Final = 0.3
#: What a throttle is off by that was measured at another one.
RESTATED: Final = "throttle restated for the bus voltage"
#: Power against thrust: what the propeller takes (3), copper (4), what is lost at any
#: speed (1 and 2).
POWER_MODELS: Final[tuple[Model, ...]] = (
    PowerLaw(),
    SquareRoot((2, 3)),
    SquareRoot((3, 4)),
    SquareRoot((1, 3)),
    SquareRoot((2, 3, 4)),
    SquareRoot((1, 3, 4)),
)
#: Voltage at the bridge against thrust: back-EMF (1), resistive drop (2).
NEEDED_MODELS: Final[tuple[Model, ...]] = (
    PowerLaw(),
    SquareRoot((1, 2)),
    SquareRoot((0, 1)),
    SquareRoot((0, 1, 2)),
    SquareRoot((1, 2, 3)),
)
#: Thrust against that voltage.
GIVEN_MODELS: Final[tuple[Model, ...]] = (
    PowerLaw(),
    Polynomial((1, 2)),
    Polynomial((0, 1, 2)),
    Polynomial((1, 2, 3)),
    Polynomial((0, 1, 2, 3)),
)


@dataclass(frozen=True, slots=True)
class Powertrain:
    """What a motor needs for a thrust, as two curves.

    Attributes:
        power: Electrical power (W) against thrust (N).
        applied: Throttle times bus voltage (V) against thrust (N).
    """

    power: Curve
    applied: Curve


def applied_v(plateaus: Plateaus) -> Measured | None:
    """Throttle times bus voltage of each plateau; None without voltage."""
    volts, throttle = plateaus.measured("voltage"), plateaus.throttle_frac
    if volts is None:
        return None
    return combine(throttle * volts.value, [(throttle, volts)])


def off_by_duty(moved_frac: float) -> float:
    """What a throttle is off by, as a standard uncertainty, that was moved so far."""
    return DUTY_SHARE * abs(moved_frac) / math.sqrt(3.0)


def read_powertrain(plateaus: Plateaus, power: Measured | None) -> Powertrain | None:
    """What a motor needs; None without thrust, power and voltage, or too few levels."""
    thrust, applied = plateaus.measured("thrust"), applied_v(plateaus)
    if thrust is None or applied is None or power is None:
        return None
    curves = [
        _drawn(
            plateaus, f"{name} against thrust", ("thrust_n", unit), (thrust, y), fits
        )
        for name, unit, y, fits in (
            ("power", "power_w", power, POWER_MODELS),
            ("applied voltage", "applied_v", applied, NEEDED_MODELS),
        )
    ]
    if curves[0] is None or curves[1] is None:
        return None
    return Powertrain(curves[0], curves[1])


def thrust_given(plateaus: Plateaus) -> Curve | None:
    """Thrust against the voltage at the bridge; None without thrust and voltage."""
    thrust, applied = plateaus.measured("thrust"), applied_v(plateaus)
    if thrust is None or applied is None:
        return None
    name, units = "thrust against applied voltage", ("applied_v", "thrust_n")
    return _drawn(plateaus, name, units, (applied, thrust), GIVEN_MODELS)


def _drawn(
    plateaus: Plateaus,
    name: str,
    units: tuple[str, str],
    values: tuple[Measured, Measured],
    models: tuple[Model, ...],
) -> Curve | None:
    """A curve of two quantities that are zero only where nothing turns."""
    relation = Relation(name, *units, *values, models, positive=True)
    return draw(relation, plateaus.throttle_frac)
