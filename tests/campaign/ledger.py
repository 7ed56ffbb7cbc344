"""The truth of a spin as it goes: what a plateau really held, from its side door.

Time integrals kept all along, so that the truth over any window is a difference
quotient. Nothing that measures may see it.
"""

from dataclasses import dataclass, field

import numpy as np

from daq.stand.plant.bench import Plant

EVERY_S = 0.02


@dataclass(slots=True)
class Ledger:
    """Integrals of the plant, kept every now and then.

    Attributes:
        plant: whose.
        rows: time, thrust, turned, charge, voltage, energy at the speed controller,
            energy of the shaft, all of them integrals since the start; the motor's
            constant and the plug's resistance as they are then.
    """

    plant: Plant
    rows: list[tuple[float, ...]] = field(default_factory=list)

    def keep(self) -> None:
        """Look at the plant, if it is time to."""
        if not self.rows or self.plant.time_s - self.rows[-1][0] >= EVERY_S - 1e-9:
            told = self.plant.integrals
            self.rows.append(
                (
                    told.time_s,
                    told.thrust_n_s,
                    told.turned_rad,
                    told.bus_charge_c,
                    told.bus_v_s,
                    told.bus_energy_j,
                    told.shaft_energy_j,
                    self.plant.state.kt_v_s,
                    self.plant.state.plug_ohm,
                )
            )

    def means(self) -> "Means":
        """What was kept, to be asked."""
        table = np.array(self.rows, dtype=np.float64)
        return Means(table, self.plant.state.density_kg_m3)


@dataclass(frozen=True, slots=True)
class Window:
    """The truth over one stretch of time; means, SI."""

    thrust_n: float
    speed_rad_s: float
    current_a: float
    voltage_v: float
    power_w: float
    shaft_w: float
    kt_v_s: float
    plug_ohm: float


@dataclass(frozen=True, slots=True)
class Means:
    """A spin's truth.

    Attributes:
        table: rows of a ledger, shape (n, 9).
        density_kg_m3: of the air.
    """

    table: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
    density_kg_m3: float

    def over(self, start_s: float, end_s: float) -> Window:
        """Means between two moments of the device."""
        time_s = self.table[:, 0]
        ends = [np.interp((start_s, end_s), time_s, c) for c in self.table.T[1:7]]
        rates = [float(end[1] - end[0]) / (end_s - start_s) for end in ends]
        middle_s = (start_s + end_s) / 2.0
        now = [float(np.interp(middle_s, time_s, c)) for c in self.table.T[7:]]
        thrust, speed, current, voltage, power, shaft = rates
        return Window(thrust, speed, current, voltage, power, shaft, *now)
