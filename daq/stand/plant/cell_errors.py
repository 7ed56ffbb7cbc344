"""What a real load cell makes of a force, before the converter filters it.

Everything is told as the force that a perfect cell would need to read the same.
It moves once a conversion. Nothing here corrects a reading.
"""

import math
from collections.abc import Callable

from daq.stand.plant.arm import Vibration
from daq.stand.plant.noise import Stream, standard_normals
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_effects import (
    CellCreepTruth,
    CellCurveTruth,
    CellDriftTruth,
    CellHysteresisTruth,
)

WAVE_TOP = math.sqrt(3.0) / 18.0
"""Greatest value of u (1 - u) (1 - 2 u) between 0 and 1."""


class Creep:
    """A share of the load comes later, by one exponential.

    y' = (share F - y)/time; the cell answers F + y. Stepped by its exact answer to a
    force held over a conversion. Source: the standard linear solid of viscoelasticity
    (any textbook, from memory); what is usual: OIML R 60 allows class C3 0.0245 % of
    its range in 30 minutes.
    """

    __slots__ = ("_follow", "_late_n", "_share")

    def __init__(self, truth: CellCreepTruth, period_s: float) -> None:
        self._share = truth.share_frac
        self._follow = -math.expm1(-period_s / truth.time_s)
        self._late_n = 0.0

    def answer(self, force_n: float) -> float:
        """The force as it has crept at the end of a conversion under it."""
        self._late_n += self._follow * (self._share * force_n - self._late_n)
        return force_n + self._late_n


class Hysteresis:
    """Play operators in parallel: which way a force was reached shows in it.

    p_i stays within r_i of the force, y = F - a sum (F - p_i), with a such that a
    loop up to rated load and back is ``width_frac`` of it wide. It remembers turning
    points and forgets those that are passed again (Madelung's rules). Source: the
    Prandtl-Ishlinskii model; M. A. Krasnosel'skii, A. V. Pokrovskii, Systems with
    Hysteresis (1989; from memory).
    """

    __slots__ = ("_held_n", "_reach_n", "_weight")

    def __init__(self, truth: CellHysteresisTruth) -> None:
        self._reach_n = [part * truth.rated_n for part in truth.thresholds_frac]
        self._held_n = [0.0] * len(self._reach_n)
        self._weight = truth.width_frac * truth.rated_n / (2.0 * sum(self._reach_n))

    def answer(self, force_n: float) -> float:
        """The force as it shows after the way it came."""
        lag = 0.0
        held = self._held_n
        for index, reach in enumerate(self._reach_n):
            play = max(force_n - reach, min(force_n + reach, held[index]))
            held[index] = play
            lag += force_n - play
        return force_n - self._weight * lag


class Curve:
    """A bow and an S between zero and rated load, in shares of rated load.

    y = F + rated (4 bow u (1 - u) + wave u (1 - u)(1 - 2u)/0.0962), u = F/rated, so
    that zero and rated load stay what they are (terminal-based linearity; ISA-S37.1
    term, from memory). Beyond them and against the usual direction it goes on.
    """

    __slots__ = ("_bow_n", "_rated_n", "_wave_n")

    def __init__(self, truth: CellCurveTruth) -> None:
        self._rated_n = truth.rated_n
        self._bow_n = 4.0 * truth.bow_frac * truth.rated_n
        self._wave_n = truth.wave_frac * truth.rated_n / WAVE_TOP

    def answer(self, force_n: float) -> float:
        """The force as the bent line shows it."""
        load = force_n / self._rated_n
        bent = self._bow_n + self._wave_n * (1.0 - 2.0 * load)
        return force_n + load * (1.0 - load) * bent


class Drift:
    """Zero and gain: two random walks, and what follows the cell's temperature.

    Source: a Wiener process, whose rms grows with the square root of time; the
    temperature effects on zero and on sensitivity are the usual two figures of a
    cell's data sheet (common practice, no source).

    Attributes:
        rise_k: how much warmer the cell is than when it was switched on.
    """

    __slots__ = (
        "_draw_gain",
        "_draw_zero",
        "_gain_rel",
        "_gain_step_rel",
        "_truth",
        "_zero_n",
        "_zero_step_n",
        "rise_k",
    )

    def __init__(self, truth: CellDriftTruth, seed: int, period_s: float) -> None:
        self._truth = truth
        root = math.sqrt(period_s)
        self._zero_step_n = truth.walk_n_sqrt_s * root
        self._gain_step_rel = truth.gain_walk_rel_sqrt_s * root
        self._draw_zero = standard_normals(seed, Stream.CELL_ZERO_WALK)
        self._draw_gain = standard_normals(seed, Stream.CELL_GAIN_WALK)
        self._zero_n = self._gain_rel = self.rise_k = 0.0

    def answer(self, force_n: float) -> float:
        """The force with zero and gain as they are now."""
        self._zero_n += self._zero_step_n * self._draw_zero()
        self._gain_rel += self._gain_step_rel * self._draw_gain()
        gain_rel = self._gain_rel + self._truth.gain_rel_k * self.rise_k
        zero_n = self._zero_n + self._truth.zero_n_k * self.rise_k
        return force_n * (1.0 + gain_rel) + zero_n


class CellErrors:
    """All of them that a truth has, in the order in which they come about.

    Attributes:
        drift: zero and gain, where they drift.
    """

    __slots__ = ("_answers", "_period_s", "_vibration", "drift")

    def __init__(self, truth: Truth, seed: int, vibration: Vibration | None) -> None:
        period_s = 1.0 / truth.load_cell.samples_s
        self._period_s = period_s
        self._vibration = vibration
        self._answers: list[Callable[[float], float]] = []
        if truth.cell_creep is not None:
            self._answers.append(Creep(truth.cell_creep, period_s).answer)
        if truth.cell_hysteresis is not None:
            self._answers.append(Hysteresis(truth.cell_hysteresis).answer)
        if truth.cell_curve is not None:
            self._answers.append(Curve(truth.cell_curve).answer)
        self.drift: Drift | None = None
        if truth.cell_drift is not None:
            self.drift = Drift(truth.cell_drift, seed, period_s)
            self._answers.append(self.drift.answer)

    @property
    def any(self) -> bool:
        """Whether there is one at all."""
        return bool(self._answers) or self._vibration is not None

    def answer(self, force_n: float, left_s: float) -> float:
        """What the cell makes of the mean force over a conversion.

        Args:
            force_n: the mean force.
            left_s: from the end of the plant's step back to the conversion's end.
        """
        if self._vibration is not None:
            force_n += self._vibration.mean_n(left_s, self._period_s)
        for answer in self._answers:
            force_n = answer(force_n)
        return force_n
