"""The optional tables of a truth file: what a real stand does besides.

A table that is left out is an effect that is not there, and then the counts are
what they would be without this module. Figures are SI. A model here must never
hold anything that changes while the plant runs, and nothing that judges the
measurements may read one.
"""

from typing import Annotated, Self

from pydantic import Field, model_validator

from daq.stand.plant.truth_parts import (
    Floats,
    Fraction,
    NotNegative,
    Positive,
    increases,
)
from daq.typed_toml import Table

Small = Annotated[float, Field(ge=-0.2, le=0.2)]
Spread = Annotated[float, Field(ge=0.0, le=0.2)]


class ArmTruth(Table):
    """How thrust, wash and torque come to press on the load cell.

    Arms are from the pivot: of the thrust axis, of where check masses sit, and of
    the load cell. All three alike is a cell in line with the axis.
    """

    thrust_arm_m: Positive
    mass_arm_m: Positive
    cell_arm_m: Positive
    misalignment_rad: Annotated[float, Field(ge=0.0, le=0.8)] = 0.0
    wash_drag_frac: Annotated[float, Field(ge=0.0, le=0.5)] = 0.0
    wash_drag_per_n: Annotated[float, Field(ge=0.0, le=0.1)] = 0.0
    wash_drag_reversed_frac: Annotated[float, Field(ge=0.0, le=0.5)] = 0.0
    torque_leak_n_nm: Annotated[float, Field(ge=-100.0, le=100.0)] = 0.0
    reversed_mount: bool = False
    opposite_rotation: bool = False


class VibrationTruth(Table):
    """What shakes the stand at one and at ``propeller.blades`` per revolution."""

    imbalance_kg_m: NotNegative
    axial_frac: Fraction
    blade_pass_frac: Fraction


class CellCreepTruth(Table):
    """Creep of the load cell: what share it goes on to, and how slowly."""

    share_frac: Annotated[float, Field(ge=-0.05, le=0.05)]
    time_s: Positive


class CellHysteresisTruth(Table):
    """Hysteresis of the load cell: width of its full loop, and where it yields."""

    rated_n: Positive
    width_frac: Annotated[float, Field(ge=0.0, le=0.05)]
    thresholds_frac: Floats = (0.02, 0.06, 0.18)

    @model_validator(mode="after")
    def _thresholds(self) -> Self:
        parts = self.thresholds_frac
        if not parts or not increases(parts) or not 0.0 < parts[0] <= parts[-1] <= 0.5:
            raise ValueError("thresholds_frac must increase, above 0 and up to 0.5")
        return self


class CellCurveTruth(Table):
    """How far the load cell is from a straight line between zero and rated load."""

    rated_n: Positive
    bow_frac: Annotated[float, Field(ge=-0.05, le=0.05)]
    wave_frac: Annotated[float, Field(ge=-0.05, le=0.05)] = 0.0


class CellDriftTruth(Table):
    """How zero and gain of the load cell wander, and follow its temperature."""

    walk_n_sqrt_s: NotNegative = 0.0
    gain_walk_rel_sqrt_s: Annotated[float, Field(ge=0.0, le=0.01)] = 0.0
    zero_n_k: float = 0.0
    gain_rel_k: Annotated[float, Field(ge=-0.01, le=0.01)] = 0.0


class CellWarmingTruth(Table):
    """How warm the load cell ends up, by what blows on it and what heats it."""

    time_s: Positive
    thrust_k_n: Annotated[float, Field(ge=-20.0, le=20.0)] = 0.0
    winding_share_frac: Fraction = 0.0
    esc_share_frac: Fraction = 0.0


class ReferenceTruth(Table):
    """The reference that current and voltage are converted against."""

    warm_up_rel: Annotated[float, Field(ge=-0.1, le=0.1)] = 0.0
    warm_up_s: Positive = 60.0
    walk_rel_sqrt_s: Annotated[float, Field(ge=0.0, le=0.01)] = 0.0
    cell_share_frac: Fraction = 0.0


class GustsTruth(Table):
    """Recirculating air: an inflow that wanders about nothing.

    ``share_frac`` is its rms over the induced velocity; the two advance ratios are
    where thrust and power would come to nothing if they fell in a line.
    """

    share_frac: Annotated[float, Field(ge=0.0, le=0.3)]
    time_s: Positive
    zero_thrust_advance: Annotated[float, Field(ge=0.1, le=3.0)] = 0.8
    zero_power_advance: Annotated[float, Field(ge=0.1, le=5.0)] = 1.3


class ChoppingTruth(Table):
    """Switching of the bridge: its frequency, and how long an edge takes."""

    frequency_hz: Annotated[float, Field(ge=1e3, le=1e6)]
    edge_s: Annotated[float, Field(ge=0.0, le=1e-6)] = 0.0


class ScatterTruth(Table):
    """How far one specimen is from the next, and one mounting from the next.

    Standard deviations. ``blade`` moves thrust and power coefficient together (as
    a pitch does), ``drag`` the power coefficient alone. Of a mounting, ``air``
    changes what the propeller really does (walls, inflow), the rest only what of
    it reaches the load cell. A mating is the plug put together once more.
    """

    specimen_blade_rel: Spread = 0.0
    specimen_drag_rel: Spread = 0.0
    specimen_diameter_rel: Spread = 0.0
    specimen_kv_rel: Spread = 0.0
    specimen_resistance_rel: Spread = 0.0
    specimen_no_load_rel: Spread = 0.0
    mounting_air_rel: Spread = 0.0
    mounting_arm_rel: Spread = 0.0
    mounting_angle_rad: Spread = 0.0
    mounting_wash_rel: Spread = 0.0
    mounting_zero_n: NotNegative = 0.0
    mating_rel: Spread = 0.0


def neutral_arm() -> ArmTruth:
    """The cell in line with the axis, nothing else on it."""
    return ArmTruth(thrust_arm_m=1.0, mass_arm_m=1.0, cell_arm_m=1.0)
