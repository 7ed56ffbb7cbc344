"""The pack's cells as a stand reads them at the balance plug, each by itself.

The pack as a whole is ``pack``'s; here its voltage is shared out among cells that are
not alike. Balance leads carry no current, so what lies in the pack's own leads is in
no cell. Nothing here changes what the pack gives.
"""

from daq.stand.plant.noise import Stream, standard_normals
from daq.stand.plant.pack import Pack
from daq.stand.plant.polyline import Polyline
from daq.stand.plant.sensors import FastSensor, SensorSpec, spec_of
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_cells import CellTapsTruth
from daq.stand.plant.truth_parts import PackTruth

AVERAGED_S = 0.1
"""What one reading is the mean of (as of the plug's amplifiers)."""


class CellTaps:
    """Voltage of each cell, mean since last asked.

    A cell has its share of the pack's resistances, and its own state of charge, which
    stays as far from the pack's as it began (Kirchhoff's laws; the cells of a pack
    carry one current). The open-circuit voltage is read off the pack's table.

    Attributes:
        specs: the channels, from the cell at the minus wire.
    """

    __slots__ = ("_asked", "_ocv", "_off", "_pack", "_sensors", "_share", "specs")

    def __init__(
        self, truth: CellTapsTruth, pack_truth: PackTruth, pack: Pack, seed: int
    ) -> None:
        self._pack = pack
        self._ocv = Polyline(
            pack_truth.ocv_charge_frac, pack_truth.ocv_cell_v, extend_below=True
        )
        self._share, self._off = truth.resistance_share, truth.charge_off_frac
        gains = standard_normals(seed, Stream.CELL_TAP_GAIN)
        noise = standard_normals(seed, Stream.CELL_TAP_NOISE)
        self._sensors = tuple(
            FastSensor(
                truth.counts_per_unit * (1.0 + truth.drawn_error(gains())),
                truth.zero_error_counts,
                truth.noise_counts_rms,
                (truth.low_counts, truth.high_counts),
                noise,
            )
            for _ in self._share
        )
        self.specs: tuple[SensorSpec, ...] = tuple(
            spec_of(
                f"cell-{number}", "voltage", truth, kind="mean", delay_s=AVERAGED_S / 2
            )
            for number in range(1, len(self._share) + 1)
        )
        self._asked = (0, 0.0)

    def cell_v(self, place: int, current_a: float) -> float:
        """Voltage of one cell, counted from the minus wire from 0, at a current."""
        pack = self._pack
        if place >= pack.cells:
            return 0.0
        own_v = self._ocv.at(pack.charge_frac + self._off[place])
        lost_v = pack.resistance_ohm * current_a + pack.slow_v
        return max(0.0, own_v - self._share[place] * lost_v)

    def frame(self, steps: int, sum_a: float) -> tuple[int, ...]:
        """Counts of each cell, the mean since last asked.

        Args:
            steps: taken since the start.
            sum_a: of the pack's current over them.
        """
        before, before_a = self._asked
        if steps > before:
            current_a = (sum_a - before_a) / (steps - before)
            self._asked = (steps, sum_a)
            for place, sensor in enumerate(self._sensors):
                sensor.sample(self.cell_v(place, current_a))
        return tuple(sensor.collect()[0] for sensor in self._sensors)


def taps_of(truth: Truth, pack: Pack, seed: int) -> CellTaps | None:
    """The taps that a truth has."""
    if truth.cell_taps is None:
        return None
    return CellTaps(truth.cell_taps, truth.pack, pack, seed)
