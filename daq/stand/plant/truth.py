"""Truth files: everything the simulated stand is, and hides, in TOML.

Only the plant may read one; nothing that judges the measurements may.
"""

from pathlib import Path
from typing import Self

from pydantic import model_validator

from daq.errors import InputFault
from daq.stand.plant.truth_cells import CellTapsTruth
from daq.stand.plant.truth_effects import (
    ArmTruth,
    CellCreepTruth,
    CellCurveTruth,
    CellDriftTruth,
    CellHysteresisTruth,
    CellWarmingTruth,
    ChoppingTruth,
    GustsTruth,
    ReferenceTruth,
    ScatterTruth,
    VibrationTruth,
)
from daq.stand.plant.truth_fast import BusCapacitorTruth, FastTruth
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
from daq.stand.plant.truth_plug import PackVoltageTruth, PlugSenseTruth, PlugTruth
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
    arm: ArmTruth | None = None
    vibration: VibrationTruth | None = None
    cell_creep: CellCreepTruth | None = None
    cell_hysteresis: CellHysteresisTruth | None = None
    cell_curve: CellCurveTruth | None = None
    cell_drift: CellDriftTruth | None = None
    cell_warming: CellWarmingTruth | None = None
    reference: ReferenceTruth | None = None
    gusts: GustsTruth | None = None
    chopping: ChoppingTruth | None = None
    bus_capacitor: BusCapacitorTruth | None = None
    fast: FastTruth | None = None
    plug: PlugTruth | None = None
    plug_sense: PlugSenseTruth | None = None
    cell_taps: CellTapsTruth | None = None
    pack_voltage_sensor: PackVoltageTruth | None = None
    plug_sensor: TemperatureSensorTruth | None = None
    scatter: ScatterTruth | None = None

    @model_validator(mode="after")
    def _sensed(self) -> Self:
        for part, heat, sensor in (
            ("winding", self.winding_heat, self.winding_sensor),
            ("esc", self.esc_heat, self.esc_sensor),
        ):
            if sensor is not None and heat is None:
                raise ValueError(f"with [{part}_sensor] give [{part}_heat] too")
        return self

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.vibration is not None and self.propeller.blades is None:
            raise ValueError("with [vibration] give propeller.blades too")
        for table in ("plug_sense", "pack_voltage_sensor", "plug_sensor"):
            if getattr(self, table) is not None and self.plug is None:
                raise ValueError(f"with [{table}] give [plug] too")
        taps = self.cell_taps
        if taps is not None and len(taps.resistance_share) != self.pack.cells:
            raise ValueError(
                f"[cell_taps] describes {len(taps.resistance_share)} cells; the pack "
                f"has {self.pack.cells}"
            )
        fast, chopping = self.fast, self.chopping
        if fast is not None and (chopping is None) == (fast.chopping_hz is None):
            raise ValueError("with [fast] give either [chopping] or fast.chopping_hz")
        drift = self.cell_drift or CellDriftTruth()
        if (drift.zero_n_k or drift.gain_rel_k) and self.cell_warming is None:
            raise ValueError(
                "zero_n_k and gain_rel_k in [cell_drift] need [cell_warming]"
            )
        return self

    @property
    def chopping_hz(self) -> float | None:
        """How often the bridge switches; None where the truth says nothing of it."""
        if self.chopping is not None:
            return self.chopping.frequency_hz
        return None if self.fast is None else self.fast.chopping_hz


def load_truth(path: Path) -> Truth:
    """Read and check a truth file, or a shipped one by its bare name.

    Raises:
        InputFault: it cannot be read, is not TOML or does not describe a stand;
            the sentence names file and key.
    """
    shipped = SHIPPED_TRUTHS / f"{path}.toml"
    if path.name == str(path) and not path.exists() and shipped.is_file():
        path = shipped
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
