"""What mounting an article again does, and what it takes to see through it.

The scatter of runs about their article, bands that hold at many points at once, and how
many runs would settle a difference. Values in, values out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.measured import COVERAGE, Measured, t_factor
from daq.analysis.series import Array

#: Simulated deviations behind a simultaneous band, and the seed that makes them the
#: same every time.
DRAWS: Final = 20_000
SEED: Final = 20_261_126
#: With more degrees of freedom than this Student's t is taken for the normal.
MANY_DOF: Final = 1e4
#: Chance with which a difference that matters should be found, once enough was run.
POWER: Final = 0.8
MOST_RUNS: Final = 200


@dataclass(frozen=True, slots=True)
class Reproducibility:
    """By how much one article differs from itself, mounted again.

    Attributes:
        sd_rel: Standard deviation of one mounting, relative.
        dof: Degrees of freedom of it.
        words: Where it comes from.
    """

    sd_rel: float
    dof: float
    words: str


def pooled(one: Reproducibility, other: Reproducibility) -> Reproducibility:
    """What two sources say together, by their degrees of freedom."""
    dof = one.dof + other.dof
    variance = (one.dof * one.sd_rel**2 + other.dof * other.sd_rel**2) / dof
    return Reproducibility(math.sqrt(variance), dof, f"{one.words} and {other.words}")


def scatter_of(groups: Sequence[Sequence[Array]]) -> tuple[float, float] | None:
    """Standard deviation of one mounting about its article, and degrees of freedom.

    Of what moves a whole curve: the mean of its logarithm over the range. What moves
    one point against the next is in each run's own uncertainty.
    """
    squares, dof = 0.0, 0
    for group in groups:
        if len(group) > 1:
            means = np.array([float(values.mean()) for values in group])
            squares += float(means.var(ddof=1)) * (means.size - 1)
            dof += means.size - 1
    return (math.sqrt(squares / dof), float(dof)) if dof else None


def runs_needed(
    sd_rel: float, shared_u: float, matters: float, dof: float | None = None
) -> int | None:
    """Runs of each article that would settle a difference that matters.

    So many that a difference of that size is found four times in five: half of the
    interval and the chance to miss it both fit into it (W. G. Cochran, G. M. Cox,
    Experimental Designs, 2nd ed. 1957, section 2.2, from memory).

    Args:
        sd_rel: Standard deviation of one mounting.
        shared_u: What more runs do not take away.
        matters: The difference, relative, above zero.
        dof: Degrees of freedom if ``sd_rel`` is known from elsewhere.

    Returns:
        The number; None where no number would.
    """
    if float(t_factor(math.inf, COVERAGE)) * shared_u >= matters:
        return None
    for number in range(2, MOST_RUNS + 1):
        freedom = max(2.0 * number - 2.0, dof or 0.0)
        u = math.hypot(sd_rel * math.sqrt(2.0 / number), shared_u)
        # One-sided chance of 80 % is two-sided 60 %.
        asked = float(t_factor(freedom, COVERAGE) + t_factor(freedom, 2 * POWER - 1))
        if asked * u <= matters:
            return number
    return None


def simultaneous(whole: Measured) -> Array:
    """Half-widths that hold at all points at once, shape (m,)."""
    u = whole.standard_uncertainty()
    u = np.where(u > 0, u, 1e-300)
    correlation = whole.covariance() / np.outer(u, u)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    rng = np.random.default_rng(SEED)
    largest = np.abs(rng.standard_normal((DRAWS, u.size)) @ root.T).max(axis=1)
    dof = float(whole.dof().min())
    if dof < MANY_DOF:
        largest = largest * np.sqrt(dof / rng.chisquare(dof, DRAWS))
    return np.asarray(np.quantile(largest, COVERAGE) * u, dtype=np.float64)
