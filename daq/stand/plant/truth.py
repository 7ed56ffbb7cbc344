"""Truth files: everything the simulated stand is, and hides, in TOML.

Only the plant may read one; nothing that judges the measurements may.
"""

from pathlib import Path
from typing import Self

from pydantic import model_validator

from daq.errors import InputFault
from daq.stand.plant.truth_parts import (
    AirTruth,
    CurrentSensorTruth,
    EscTruth,
    HeatTruth,
    LeadsTruth,
    LoadCellTruth,
    MotorTruth,
    MountTruth,
    PackTruth,
    PropellerTruth,
    SpeedSensorTruth,
    TemperatureSensorTruth,
    VoltageSensorTruth,
    WindingHeatTruth,
)
from daq.typed_toml import Table, read_typed

SHIPPED_TRUTHS = Path(__file__).parent.parent / "truths"


class Truth(Table):
    """A whole truth file."""

    title: str
    pack: PackTruth
    leads: LeadsTruth
    esc: EscTruth
    motor: MotorTruth
    propeller: PropellerTruth
    air: AirTruth
    mount: MountTruth
    load_cell: LoadCellTruth
    current_sensor: CurrentSensorTruth
    voltage_sensor: VoltageSensorTruth
    speed_sensor: SpeedSensorTruth
    winding_heat: WindingHeatTruth | None = None
    esc_heat: HeatTruth | None = None
    winding_sensor: TemperatureSensorTruth | None = None
    esc_sensor: TemperatureSensorTruth | None = None

    @model_validator(mode="after")
    def _sensed(self) -> Self:
        for part, heat, sensor in (
            ("winding", self.winding_heat, self.winding_sensor),
            ("esc", self.esc_heat, self.esc_sensor),
        ):
            if sensor is not None and heat is None:
                raise ValueError(f"with [{part}_sensor] give [{part}_heat] too")
        return self


def load_truth(path: Path) -> Truth:
    """Read and check a truth file.

    Raises:
        InputFault: it cannot be read, is not TOML or does not describe a stand;
            the sentence names file and key.
    """
    return read_typed(path, Truth)


def shipped_truth(name: str = "indoor_quad") -> Truth:
    """One of the truth files that come with the program.

    Raises:
        InputFault: there is none of that name.
    """
    known = sorted(file.stem for file in SHIPPED_TRUTHS.glob("*.toml"))
    if name not in known:
        raise InputFault(
            f"there is no shipped truth {name!r}: choose from {', '.join(known)}"
        )
    return load_truth(SHIPPED_TRUTHS / f"{name}.toml")
