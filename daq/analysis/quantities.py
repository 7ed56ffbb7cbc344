"""What articles are held against each other by, and how that goes with the air.

Curves of a run, each at what it is matched by. Nothing here compares.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from daq.analysis.bridge import thrust_given
from daq.analysis.curves import Curve
from daq.analysis.one_air import (
    POWER_AT_ONE_THRUST,
    THRUST_AT_ONE_VOLTAGE,
    Between,
)
from daq.analysis.run import Analysis


def _specific(analysis: Analysis) -> Curve | None:
    train = analysis.evidence.train
    return None if train is None else train.power


def _by_voltage(analysis: Analysis) -> Curve | None:
    return thrust_given(analysis.plateaus)


@dataclass(frozen=True, slots=True)
class Quantity:
    """What can be compared.

    Attributes:
        curve: Draws it from a run, or cannot.
        sign: 1 where the curve goes up with it, -1 where it goes down: specific
            thrust is thrust over the power that is drawn.
        x_quantity: What it is matched at, with its SI unit as suffix.
        in_air: The power of the air's density that the curve goes with there.
    """

    curve: Callable[[Analysis], Curve | None]
    sign: int
    x_quantity: str
    in_air: Between

    @property
    def told_in_air(self) -> Between:
        """The power that the quantity itself goes with."""
        return self.in_air if self.sign > 0 else self.in_air.inverse


QUANTITIES: Final[Mapping[str, Quantity]] = {
    "specific thrust": Quantity(_specific, -1, "thrust_n", POWER_AT_ONE_THRUST),
    "thrust": Quantity(_by_voltage, 1, "applied_v", THRUST_AT_ONE_VOLTAGE),
}
