"""The errors of a channel as sources that results share, or do not."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from daq.analysis.measured import Measured, Source
from daq.analysis.series import Series


def scale_sources(
    channel: Series,
    value: ArrayLike,
    zero: ArrayLike | None = None,
    legs: Sequence[str] = (),
) -> dict[str, Source]:
    """What the scale of a channel may be wrong by, in some of its values.

    Args:
        channel: Whose values they are.
        value: Shape (n,), zero still in.
        zero: What was taken off each, (n,) or one number; None where nothing was.
        legs: Leg of each, as in the plan; () if unknown.

    Returns:
        By name, each shared by the values.
    """
    found = channel.errors.factors(channel.name, value, zero, legs)
    return {
        name: Source(part.factor, np.full(part.factor.shape[0], part.dof))
        for name, part in found.items()
    }


def points_of(measured: Measured, fit: str) -> Measured:
    """Values as the points of a fit: what is each point's own is called so.

    The same readings may be points of several fits, and others may be among them.
    """

    def name(known: str) -> str:
        common = measured.sources[known].common
        return known if common else f"{known} in {fit}'s points"

    return measured.renamed(name)
