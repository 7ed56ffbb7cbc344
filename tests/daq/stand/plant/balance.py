"""What the plant's sums say over a while: means, and where the energy went."""

from dataclasses import dataclass

from daq.stand.plant.bench import Plant
from daq.stand.plant.sensors import FastFrame
from daq.stand.plant.told import PlantState
from daq.stand.plant.truth import Truth

#: Winding and ESC keep all their heat and are a joule a kelvin.
INSULATED: dict[str, object] = {
    f"{part}.{key}": value
    for part in ("winding_heat", "esc_heat")
    for key, value in (("resistance_k_w", 1e9), ("capacity_j_k", 1.0))
}


@dataclass(frozen=True, slots=True)
class Energy:
    """Two seconds of a spin of insulated parts.

    Attributes:
        begin: state at the start.
        end: state at the end.
        left_j: what the bus gave, less the shaft's work and what the rotor stores.
    """

    begin: PlantState
    end: PlantState
    left_j: float

    @property
    def winding_j(self) -> float:
        """Heat in the winding."""
        return self.end.winding_k - self.begin.winding_k

    @property
    def esc_j(self) -> float:
        """Heat in the ESC."""
        return self.end.esc_k - self.begin.esc_k

    @property
    def heat_j(self) -> float:
        """Heat in both."""
        return self.winding_j + self.esc_j


def energy(truth: Truth, pulse_s: float) -> Energy:
    """Up to speed in a second, so that the rotor stores little more; then two."""
    plant = Plant(truth, 1)
    plant.advance(1.0, pulse_s)
    begin, sums = plant.state, plant.integrals
    plant.advance(2.0, pulse_s)
    end, after = plant.state, plant.integrals
    gave = after.bus_energy_j - sums.bus_energy_j
    work = after.shaft_energy_j - sums.shaft_energy_j
    inertia = truth.motor.inertia_kg_m2 + truth.propeller.inertia_kg_m2
    stored = 0.5 * inertia * (end.speed_rad_s**2 - begin.speed_rad_s**2)
    return Energy(begin, end, gave - work - stored)


def framed(
    plant: Plant, duration_s: float, pulse_s: float
) -> tuple[float, float, FastFrame]:
    """True mean voltage and current of a while, and the frame of that while."""
    plant.fast_frame()
    before = plant.integrals
    plant.advance(duration_s, pulse_s)
    after = plant.integrals
    volt = (after.bus_v_s - before.bus_v_s) / duration_s
    amp = (after.bus_charge_c - before.bus_charge_c) / duration_s
    return volt, amp, plant.fast_frame()
