"""The pack: open-circuit voltage, series resistance and one slow RC pair.

No temperature, no ageing, no hysteresis of the open-circuit voltage.
"""

import math

from daq.stand.plant.polyline import Polyline
from daq.stand.plant.truth_parts import PackTruth


class Pack:
    """Cells in series behind one resistance and one RC pair.

    ``become`` makes another pack of it: more cells, fewer, or worse ones.

    Source: the Thevenin battery model with one RC pair (for example G. L. Plett,
    Battery Management Systems, vol. 1, 2015, ch. 2; from memory). The pair is
    stepped by its exact answer to a current held over the step.

    Attributes:
        charge_frac: state of charge; below 0 the open-circuit voltage follows
            the first line of its table on down, as an over-discharged cell does.
        slow_v: voltage across the RC pair.
        emf_v: open-circuit voltage less ``slow_v``; what the series resistance sees.
        resistance_ohm: series resistance.
    """

    __slots__ = (
        "_cells",
        "_cells_built",
        "_charge_per_as",
        "_decay",
        "_gain_built_ohm",
        "_gain_ohm",
        "_ocv",
        "_resistance_built_ohm",
        "charge_frac",
        "emf_v",
        "resistance_ohm",
        "slow_v",
    )

    def __init__(self, truth: PackTruth, step_s: float) -> None:
        self._cells = self._cells_built = truth.cells
        self._ocv = Polyline(truth.ocv_charge_frac, truth.ocv_cell_v, extend_below=True)
        self._charge_per_as = step_s / truth.capacity_c
        self._decay = math.exp(-step_s / truth.slow_time_s)
        self._gain_ohm = truth.slow_resistance_ohm * -math.expm1(
            -step_s / truth.slow_time_s
        )
        self._gain_built_ohm = self._gain_ohm
        self.resistance_ohm = self._resistance_built_ohm = truth.resistance_ohm
        self.charge_frac = truth.charge_frac
        self.slow_v = 0.0
        self.emf_v = self.open_circuit_v

    @property
    def cells(self) -> int:
        """In series, as it is now."""
        return self._cells

    @property
    def open_circuit_v(self) -> float:
        """Voltage of the rested pack at its present charge."""
        return max(0.0, self._cells * self._ocv.at(self.charge_frac))

    def become(self, cells: int | None, resistance_factor: float) -> None:
        """Be that many of the same cells, each with that much more resistance.

        Args:
            cells: how many in series; None: as many as it was built with.
            resistance_factor: on the series resistance and the slow pair's.
        """
        self._cells = self._cells_built if cells is None else cells
        factor = resistance_factor * (self._cells / self._cells_built)
        self.resistance_ohm = self._resistance_built_ohm * factor
        self._gain_ohm = self._gain_built_ohm * factor
        self._settle()

    def take_charge(self, charge_frac: float) -> None:
        """Have that much less in it, at once; negative: more."""
        self.charge_frac -= charge_frac
        self._settle()

    def _settle(self) -> None:
        self.emf_v = max(0.0, self.open_circuit_v - self.slow_v)

    def advance(self, current_a: float) -> None:
        """One step with a current held over it."""
        charge = self.charge_frac - current_a * self._charge_per_as
        self.charge_frac = charge
        slow = self._decay * self.slow_v + self._gain_ohm * current_a
        self.slow_v = slow
        ocv = self._ocv
        if not ocv.low <= charge < ocv.high:
            ocv.seek(charge)
        emf = self._cells * (ocv.base + ocv.slope * charge) - slow
        self.emf_v = emf if emf > 0.0 else 0.0
