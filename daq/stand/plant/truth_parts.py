"""The tables of a truth file, one model each, checked as they are read.

Figures are SI except where the key says a unit of the trade that
``daq.units`` converts (rpm, rpm/V, degrees Celsius). A model here must never
hold anything that changes while the plant runs.
"""

import math
from abc import abstractmethod
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Self

from pydantic import BeforeValidator, Field, model_validator
from typing_extensions import override

from daq.stand.plant.air import air_density_kg_m3
from daq.typed_toml import Table

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
GainError = Annotated[float, Field(gt=-0.5, lt=0.5)]
Flex = Annotated[float, Field(ge=-1e-3, le=1e-3)]
Count16 = Annotated[int, Field(ge=-32767, le=32767)]


def as_tuple(value: object) -> object:
    """A list becomes a tuple, a single number a tuple of one."""
    if isinstance(value, list):
        return tuple(value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return (value,)
    return value


Floats = Annotated[tuple[float, ...], BeforeValidator(as_tuple)]


def increases(values: Sequence[float]) -> bool:
    """Whether each is above the one before."""
    return all(a < b for a, b in pairwise(values))


class PackTruth(Table):
    """The pack at the start of the test."""

    cells: Annotated[int, Field(ge=1, le=14)]
    charge_frac: Fraction = 1.0
    ocv_charge_frac: Floats
    ocv_cell_v: Floats
    capacity_c: Positive
    resistance_ohm: Positive
    slow_resistance_ohm: NotNegative
    slow_time_s: Positive

    @model_validator(mode="after")
    def _table(self) -> Self:
        charge, volt = self.ocv_charge_frac, self.ocv_cell_v
        if len(charge) != len(volt) or len(charge) < 2:
            raise ValueError(
                "ocv_charge_frac and ocv_cell_v need the same number of values, two "
                f"at least, but have {len(charge)} and {len(volt)}"
            )
        if charge[0] != 0.0 or charge[-1] != 1.0 or not increases(charge):
            raise ValueError("ocv_charge_frac must increase from 0 to 1")
        if not volt[0] > 0.0 or any(a > b for a, b in pairwise(volt)):
            raise ValueError("ocv_cell_v must be above 0 and must not fall with charge")
        return self


class LeadsTruth(Table):
    """Leads (both) and arming plug (both poles)."""

    resistance_ohm: NotNegative
    plug_resistance_ohm: NotNegative


class EscTruth(Table):
    """The speed controller."""

    on_resistance_ohm: NotNegative
    idle_current_a: NotNegative
    electronics_draw_a: NotNegative
    pulse_low_s: Annotated[float, Field(ge=0.8e-3, le=2.2e-3)]
    pulse_high_s: Annotated[float, Field(ge=0.8e-3, le=2.2e-3)]
    start_throttle_frac: Fraction
    slew_frac_s: Positive | None = None
    bus_capacitance_f: Positive
    dropout_v: Positive
    duty_bow_frac: Annotated[float, Field(gt=-0.25, lt=0.25)] = 0.0

    @model_validator(mode="after")
    def _ends(self) -> Self:
        if not self.pulse_high_s > self.pulse_low_s:
            raise ValueError("pulse_high_s must be above pulse_low_s")
        return self


class MotorTruth(Table):
    """The motor."""

    kv_rpm_v: Positive
    resistance_ohm: Positive
    no_load_current_a: NotNegative
    no_load_growth_a_s_rad: NotNegative
    inertia_kg_m2: Positive


class PropellerTruth(Table):
    """The propeller; coefficients constant or in a table against rpm."""

    diameter_m: Positive
    inertia_kg_m2: Positive
    ct: Floats
    cp: Floats
    speed_rpm: Floats = ()
    blades: Annotated[int, Field(ge=2, le=8)] | None = None
    flex_ct_s2_m2: Flex = 0.0
    flex_cp_s2_m2: Flex = 0.0

    @model_validator(mode="after")
    def _tables(self) -> Self:
        for key, values in (("ct", self.ct), ("cp", self.cp)):
            if not values or min(values) <= 0.0:
                raise ValueError(f"{key} must be above 0 everywhere")
            if len(values) not in (1, len(self.speed_rpm)):
                raise ValueError(
                    f"{key} has {len(values)} values for {len(self.speed_rpm)} in "
                    "speed_rpm: give one value, or one for each speed"
                )
        if not increases(self.speed_rpm) or min(self.speed_rpm, default=0.0) < 0.0:
            raise ValueError("speed_rpm must increase, from 0 or above")
        return self

    @model_validator(mode="after")
    def _possible(self) -> Self:
        merits = [
            self.figure_of_merit(ct, cp) * math.exp(self._flex_merit * tip)
            for ct, cp in self._pairs()
            for tip in (0.0, self._top_tip_m2_s2)
        ]
        if max(merits) > 1.0:
            raise ValueError(
                f"ct and cp together give a figure of merit of {max(merits):.2f}, "
                "and nothing can be above 1: check them"
            )
        return self

    @property
    def _flex_merit(self) -> float:
        return 1.5 * self.flex_ct_s2_m2 - self.flex_cp_s2_m2

    @property
    def _top_tip_m2_s2(self) -> float:
        """(n D)^2 at the end of the table; 80 m/s without one."""
        if not self.speed_rpm:
            return 80.0**2
        return (self.speed_rpm[-1] / 60.0 * self.diameter_m) ** 2

    def _pairs(self) -> list[tuple[float, float]]:
        size = max(len(self.ct), len(self.cp))
        cts = self.ct if len(self.ct) == size else self.ct * size
        cps = self.cp if len(self.cp) == size else self.cp * size
        return list(zip(cts, cps, strict=True))

    @staticmethod
    def figure_of_merit(ct: float, cp: float) -> float:
        """FM = sqrt(2/pi) C_T^1.5/C_P, from actuator-disc theory (Rankine-Froude)."""
        return float(math.sqrt(2.0 / math.pi) * ct**1.5 / cp)


class AirTruth(Table):
    """The air: its density, or what it follows from."""

    density_kg_m3: Positive | None = None
    temperature_c: Annotated[float, Field(ge=-40.0, le=60.0)] | None = None
    pressure_pa: Annotated[float, Field(ge=30e3, le=120e3)] | None = None
    relative_humidity_frac: Fraction | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        rest = (self.temperature_c, self.pressure_pa, self.relative_humidity_frac)
        given = [value is not None for value in rest]
        if self.density_kg_m3 is None and not all(given):
            raise ValueError(
                "give density_kg_m3, or all of temperature_c, pressure_pa and "
                "relative_humidity_frac"
            )
        if self.density_kg_m3 is not None and any(given):
            raise ValueError(
                "give density_kg_m3 or temperature_c, pressure_pa and "
                "relative_humidity_frac, not both"
            )
        return self

    @property
    def celsius(self) -> float:
        """Temperature in degrees Celsius; 20 where only the density is known."""
        return 20.0 if self.temperature_c is None else self.temperature_c

    def density(self) -> float:
        """Density in kg/m^3."""
        if self.density_kg_m3 is not None:
            return self.density_kg_m3
        return air_density_kg_m3(
            self.temperature_c or 0.0,
            self.pressure_pa or 0.0,
            self.relative_humidity_frac or 0.0,
        )


class HeatTruth(Table):
    """How a part warms: to the air through one thermal resistance."""

    capacity_j_k: Positive
    resistance_k_w: Positive
    start_c: Annotated[float, Field(ge=-40.0, le=300.0)] | None = None


class WindingHeatTruth(HeatTruth):
    """The motor's winding and what is warm with it."""

    resistance_follows: bool = False
    magnet_rel_k: Annotated[float, Field(ge=-0.01, le=0.0)] = 0.0


class MountTruth(Table):
    """What stands between propeller and load cell."""

    resonance_hz: Positive
    damping_ratio: Annotated[float, Field(gt=0.0, lt=1.0)]


class GainTruth(Table):
    """Gain of a sensor: exact error, or the spread that the seed draws it from.

    The nominal gain that the stand declares has a key that names its unit:
    counts_per_n, counts_per_a, counts_per_v.

    ``gain_tolerance_rel`` is what the stand declares for its nominal gain; it is
    ``gain_u`` unless given.
    """

    gain_error: GainError | None = None
    gain_u: Annotated[float, Field(ge=0.0, le=0.1)] | None = None
    gain_tolerance_rel: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
    noise_counts_rms: NotNegative

    @model_validator(mode="after")
    def _one_gain(self) -> Self:
        if (self.gain_error is None) == (self.gain_u is None):
            raise ValueError("give either gain_error or gain_u")
        if self.gain_error is not None and self.gain_tolerance_rel is None:
            raise ValueError(
                "with gain_error give gain_tolerance_rel too: what the stand declares"
            )
        return self

    @property
    @abstractmethod
    def counts_per_unit(self) -> float:
        """Nominal gain in counts per SI unit."""

    @property
    def tolerance_rel(self) -> float:
        """Relative standard uncertainty that the stand declares for its gain."""
        if self.gain_tolerance_rel is not None:
            return self.gain_tolerance_rel
        return self.gain_u or 0.0


class LoadCellTruth(GainTruth):
    """Load cell with its converter."""

    counts_per_n: Positive
    zero_counts: float
    zero_drift_counts_s: float = 0.0
    samples_s: Annotated[float, Field(ge=5.0, le=400.0)] = 80.0

    @property
    @override
    def counts_per_unit(self) -> float:
        return self.counts_per_n


class FastSensorTruth(GainTruth):
    """A sensor sampled once a step, in 16-bit signed counts."""

    zero_error_counts: float
    low_counts: Count16 = -32767  # the lowest of all says "no reading" on the wire
    high_counts: Count16 = 32767

    @model_validator(mode="after")
    def _range(self) -> Self:
        if not self.low_counts < self.high_counts:
            raise ValueError("high_counts must be above low_counts")
        return self


class BusSensorTruth(FastSensorTruth):
    """A sensor of the bus, behind a first-order filter."""

    filter_s: Annotated[float, Field(ge=0.0, le=1.0)] = 0.0


class CurrentSensorTruth(BusSensorTruth):
    """Current sensor on the bus, between plug and ESC."""

    counts_per_a: Positive

    @property
    @override
    def counts_per_unit(self) -> float:
        return self.counts_per_a


class VoltageSensorTruth(BusSensorTruth):
    """Voltage sensor at the ESC's input, or so much lead away from it."""

    counts_per_v: Positive
    tap_resistance_ohm: NotNegative = 0.0

    @property
    @override
    def counts_per_unit(self) -> float:
        return self.counts_per_v


class TemperatureSensorTruth(FastSensorTruth):
    """A temperature sensor; its counts begin at absolute zero."""

    counts_per_k: Positive

    @property
    @override
    def counts_per_unit(self) -> float:
        return self.counts_per_k


class SpeedSensorTruth(Table):
    """Rpm sensor: one count is one rpm, in steps of its resolution."""

    resolution_rpm: Positive
    high_rpm: Annotated[int, Field(ge=1, le=1_000_000)]
    gain_tolerance_rel: Annotated[float, Field(ge=0.0, le=1.0)]
