"""Two runs of one article in two mountings: what changing the mounting does to thrust.

A reversed mount, the opposite rotation or a moved stand should change nothing; what
they do change is an error of the one, of the other or of both, and goes half into what
thrust is known to. Read at the same throttle, over the square of the speed where there
is one, so that a pack that sags differently does not pass for it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from daq.calibration.value import Bias, Calibration
from daq.errors import InputFault

if TYPE_CHECKING:
    from daq.analysis.plateaus import Plateaus
    from ui.results import Results

Array = NDArray[np.float64]
SAME_THROTTLE: Final = 2e-3
#: Below this share of the highest thrust a ratio says more of zero than of scale.
LEAST_SHARE: Final = 0.1
FEWEST: Final = 3


def runs_apart(first: Results, second: Results, what: str) -> tuple[Calibration, Bias]:
    """What changed between two runs, and the calibration that it belongs to.

    Args:
        first: in one mounting.
        second: in the other.
        what: what was changed.

    Raises:
        InputFault: they are not of one stand and one calibration, or have too few
            plateaus at the same throttles.
    """
    made = _same_calibration(first, second)
    ratios, u = _ratios(_plateaus(first), _plateaus(second))
    if ratios.size < FEWEST:
        raise InputFault(
            f"{first.run.folder.name} and {second.run.folder.name} have "
            f"{ratios.size} throttles in common; walk the same staircase in both."
        )
    weights = 1.0 / u**2
    mean = float(weights @ ratios / weights.sum())
    inside = 1.0 / math.sqrt(float(weights.sum()))
    off = ratios - mean
    outside = math.sqrt(
        float(weights @ off**2) / float(weights.sum()) / (ratios.size - 1)
    )
    names = (first.run.folder.name, second.run.folder.name)
    return made, Bias(what, mean - 1.0, max(inside, outside), names)


def _same_calibration(first: Results, second: Results) -> Calibration:
    """The thrust calibration of both.

    Raises:
        InputFault: one has none, or they have two.
    """
    uses = [results.uses().get("thrust") for results in (first, second)]
    one, other = uses
    if one is None or other is None:
        raise InputFault(
            "What a mounting changes is kept with the calibration of thrust, and one "
            "of these runs has none: calibrate, or give it with --calibration."
        )
    if one.calibration.id != other.calibration.id:
        raise InputFault(
            f"The runs are read by {one.calibration.id} and {other.calibration.id}; "
            "read both by one, or compare the calibrations."
        )
    return one.calibration


def _plateaus(results: Results) -> Plateaus:
    """The plateaus of a run.

    Raises:
        InputFault: it has none.
    """
    if results.analysis is None or not len(results.analysis.plateaus):
        raise InputFault(f"{results.run.folder.name} has no plateau to compare.")
    return results.analysis.plateaus


def _ratios(first: Plateaus, second: Plateaus) -> tuple[Array, Array]:
    """Second over first at each common throttle and leg, and what each is worth."""
    one, other = _sizes(first), _sizes(second)
    found = []
    for key, (value, u) in one.items():
        if key in other:
            value_2, u_2 = other[key]
            ratio = value_2 / value
            found.append((ratio, ratio * math.hypot(u / value, u_2 / value_2)))
    table = np.array(found, dtype=np.float64).reshape(len(found), 2)
    return table[:, 0], table[:, 1]


def _sizes(plateaus: Plateaus) -> dict[tuple[int, str], tuple[float, float]]:
    """Thrust over speed squared, with what is its own, by throttle and leg."""
    means = plateaus.channels["thrust"]
    speed = plateaus.channels.get("speed")
    value = np.abs(means.mean)
    own = [
        source.variance()
        for name, source in means.measured.sources.items()
        if name.startswith(("thrust random", "thrust zero"))
    ]
    u = np.sqrt(np.sum(own, axis=0))
    square = np.ones_like(value) if speed is None else speed.mean**2
    top = float(np.nanmax(value))
    found = {}
    for place, throttle in enumerate(plateaus.throttle_frac):
        usable = value[place] > LEAST_SHARE * top and square[place] > 0.0
        if usable:
            key = (round(float(throttle) / SAME_THROTTLE), plateaus.leg[place])
            scale = float(square[place])
            found[key] = (float(value[place]) / scale, float(u[place]) / scale)
    return found
