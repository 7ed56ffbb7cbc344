"""The load cell and its 24-bit converter.

What the cell itself adds (creep, hysteresis, a bent line, temperature) is in
``cell_errors``; here zero drifts in a straight line.
"""

from daq.stand.plant.cell_errors import CellErrors
from daq.stand.plant.noise import Stream, standard_normals
from daq.stand.plant.truth_parts import LoadCellTruth

LOW_COUNTS = -(2**23)
HIGH_COUNTS = 2**23 - 1
SETTLING_CONVERSIONS = 4
FILTER_DELAY_CONVERSIONS = 1.5
"""Group delay of the filter below, in conversion periods."""


class LoadCell:
    """Force to counts at the converter's own rate.

    The converter averages as a third-order sinc filter does: its kernel spans
    three conversion periods and holds 1/6, 2/3 and 1/6 of its weight in them, so
    that a step at any moment is settled in the fourth conversion that ends after
    it. Sources: an HX711-class data sheet (24 bits in two's complement,
    saturating; 80 samples/s; settled after four conversions, that is 50 ms; noise
    a conversion); E. B. Hogenauer, IEEE Trans. ASSP 29 (1981) 155 for the filter
    (from memory). Noise is white between conversions.

    Attributes:
        counts_per_n: the true gain.
        reference_rel: how much more it reads because of its reference.
    """

    __slots__ = (
        "_area_n_s",
        "_before_n",
        "_drift_counts_s",
        "_errors",
        "_fresh",
        "_last_n",
        "_left_s",
        "_noise",
        "_noise_counts",
        "_period_s",
        "_step_s",
        "_time_s",
        "_zero_counts",
        "counts_per_n",
        "reference_rel",
    )

    def __init__(
        self,
        truth: LoadCellTruth,
        counts_per_n: float,
        seed: int,
        step_s: float,
        errors: CellErrors | None = None,
    ) -> None:
        self.counts_per_n = counts_per_n
        self.reference_rel = 0.0
        self._errors = errors if errors is not None and errors.any else None
        self._zero_counts = truth.zero_counts
        self._drift_counts_s = truth.zero_drift_counts_s
        self._noise_counts = truth.noise_counts_rms
        self._noise = standard_normals(seed, Stream.LOAD_CELL_NOISE)
        self._period_s = 1.0 / truth.samples_s
        self._step_s = step_s
        self._left_s = self._period_s
        self._time_s = 0.0
        self._area_n_s = self._last_n = self._before_n = 0.0
        self._fresh: int | None = None

    def feel(self, force_n: float) -> None:
        """One step under a mean force; a conversion may end within it."""
        left = self._left_s - self._step_s
        if left > 1e-12:
            self._left_s = left
            self._area_n_s += force_n * self._step_s
        else:
            self._convert(force_n, left)

    def _convert(self, force_n: float, left_s: float) -> None:
        period = self._period_s
        area = self._area_n_s + force_n * (self._step_s + left_s)
        mean = area / period
        if self._errors is not None:
            mean = self._errors.answer(mean, left_s)
        filtered = (self._before_n + 4.0 * self._last_n + mean) / 6.0
        self._before_n = self._last_n
        self._last_n = mean
        self._area_n_s = -left_s * force_n
        self._left_s = left_s + period
        self._time_s += period
        counts = (
            self._zero_counts
            + self._drift_counts_s * self._time_s
            + self.counts_per_n * (1.0 + self.reference_rel) * filtered
            + self._noise_counts * self._noise()
        )
        self._fresh = max(LOW_COUNTS, min(HIGH_COUNTS, round(counts)))

    def take(self) -> int | None:
        """The newest conversion that ended since last asked, or None."""
        fresh = self._fresh
        self._fresh = None
        return fresh
