"""What a round robin knows of stands, in a comparison of runs.

A stand whose bias is known has it taken off; of one that nobody knows the spread
between stands is a cause of error. As in ``across``, but source by source, so that it
cancels where it should. Nothing here learns how stands differ, or compares.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from daq.analysis.agreed import Agreed
from daq.analysis.measured import Measured, Source
from daq.analysis.series import Array

#: What of a scale's error no factor is, and does not cancel between two runs of it: at
#: one thrust two articles draw other currents, and no sensor is quite straight. Whole
#: comparisons on simulated stands leave a tenth of the scale's error where articles are
#: 15 % apart, a third of that at 5 %, twice that at 30 %, where nothing hangs on it.
LEFT_OVER: Final = 0.1
#: The sources that come in here: what the round left open of biases that were taken
#: off, what stands differ by, and what of a known stand's scale is no factor.
BIASES: Final = "biases of the stands"
STANDS: Final = "what stands differ by"
NO_FACTOR: Final = "what of a scale is no factor"


class Placed(Protocol):
    """A run, as far as it is asked where it was made."""

    @property
    def scale(self) -> str:
        """The stand with its calibrations."""

    @property
    def bench(self) -> str | None:
        """The stand; None where the scale stands for that too."""


@dataclass(frozen=True, slots=True)
class Stands:
    """What a comparison took of a round robin.

    Attributes:
        moved: By what taking off biases moved the difference, as a share.
        u: Standard uncertainty that stands leave in it, as a share.
        known: How many stands had a known bias.
        unknown: How many had none.
    """

    moved: float
    u: float
    known: int
    unknown: int

    def to_dict(self) -> dict[str, object]:
        """The same for JSON."""
        return {
            "moved_difference": self.moved,
            "moved_u": self.u,
            "with_known_bias": self.known,
            "without": self.unknown,
        }


@dataclass(frozen=True, slots=True)
class Correction:
    """What is known of the stands of some runs in one quantity.

    Attributes:
        agreed: How stands agree in it.
        known: Scales with a known bias.
        unknown: Stands without.
    """

    agreed: Agreed
    known: tuple[str, ...]
    unknown: tuple[str, ...]

    def taken_off(
        self, log: Measured, run: Placed, of_scale: frozenset[str]
    ) -> Measured:
        """A run's logarithms as the consensus of the stands would have read them.

        Sources still have the names that they have within their run.

        Args:
            log: Of the run.
            run: Where it was made.
            of_scale: Names of the sources that belong to its scales.
        """
        bias = self.agreed.biases.get(run.scale)
        if bias is None:
            return log
        # What all of a scale's errors do on average is in its bias.
        sources = {
            name: _but_its_mean(source) if name in of_scale else source
            for name, source in log.sources.items()
        }
        return Measured(log.value - bias.log, sources)

    def opened(self, log: Measured, run: Placed, scale_u: float) -> Measured:
        """The same with what is not known of its stand.

        Sources come named after what they belong to.

        Args:
            log: Of the run, its sources named so already.
            run: Where it was made.
            scale_u: What its scales were uncertain by, its mean over the range.
        """
        size = log.value.size
        found = dict(log.sources)
        bias = self.agreed.biases.get(run.scale)
        if self.known:
            row = [
                self.agreed.biases[scale].u if scale == run.scale else 0.0
                for scale in self.known
            ]
            dof = min(self.agreed.biases[scale].dof for scale in self.known)
            found[BIASES] = _alike(row, size, dof)
        if self.agreed.between is not None:
            stand = run.bench or run.scale
            row = [
                self.agreed.between.sd if bias is None and stand == other else 0.0
                for other in self.unknown
            ]
            row.append(self.agreed.consensus_u if bias is not None else 0.0)
            found[STANDS] = _alike(row, size, self.agreed.between.dof)
        if bias is not None:
            left = f"{NO_FACTOR} [{run.scale}]"
            found[left] = _alike([LEFT_OVER * scale_u], size, math.inf)
        return Measured(log.value, found)


def correction(agreed: Agreed | None, runs: Sequence[Placed]) -> Correction | None:
    """What is known of the stands of some runs; None where there is nothing to know.

    Args:
        agreed: How stands agree; None where nobody knows.
        runs: Of one stand and one calibration all errors of its scale cancel, and
            nothing has to be known.
    """
    scales = list(dict.fromkeys(run.scale for run in runs))
    if agreed is None or len(scales) < 2:
        return None
    known = tuple(scale for scale in scales if scale in agreed.biases)
    unknown = dict.fromkeys(
        run.bench or run.scale for run in runs if run.scale not in agreed.biases
    )
    return Correction(agreed, known, tuple(unknown))


def stands_of(
    found: Correction | None, apart: Measured, runs: Sequence[tuple[float, Placed]]
) -> Stands | None:
    """What stands do to a difference; None where they were not asked about.

    Args:
        found: What is known of them.
        apart: The difference.
        runs: Each with its weight in it.
    """
    if found is None:
        return None
    kept = {
        name: source
        for name, source in apart.sources.items()
        if name in (BIASES, STANDS) or name.startswith(NO_FACTOR)
    }
    over = np.full((1, apart.value.size), 1.0 / apart.value.size)
    u = float(Measured(apart.value, kept).mapped(over).standard_uncertainty()[0])
    biases = found.agreed.biases
    moved = -sum(w * biases[run.scale].log for w, run in runs if run.scale in biases)
    return Stands(math.expm1(moved), u, len(found.known), len(found.unknown))


def _alike(row: Sequence[float], size: int, dof: float) -> Source:
    """Unit errors that act on all points alike."""
    factor: Array = np.tile(np.array(row, dtype=np.float64), (size, 1))
    return Source(factor, np.full(size, dof))


def _but_its_mean(source: Source) -> Source:
    """What of a source changes along the range."""
    if not source.common:
        return source
    return Source(source.factor - source.factor.mean(axis=0), source.dof)
