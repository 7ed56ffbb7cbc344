"""The charts of a glide: means of short stretches, each way by itself.

No curve is drawn through them and nothing calls them plateaus: what lags behind a
moving throttle is in them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from daq.analysis.glides import BIN_FRAC
from ui.report import charts
from ui.report.charts import Chart, Drawn

if TYPE_CHECKING:
    from daq.analysis.glides import Glides
    from daq.analysis.measured import Measured

AXES: Final = (
    ("thrust", charts.THRUST),
    ("current", charts.CURRENT),
    ("speed", charts.SPEED),
)
REMARK: Final = (
    f"Each point is the mean over {100 * BIN_FRAC:g} % of throttle, moving. What lags "
    "behind the throttle is in it and not in its interval."
)


def draw_glides(glides: Glides | None, *, simulated: bool) -> list[Drawn]:
    """A chart for each quantity that was read on a glide."""
    if glides is None:
        return []
    return [
        charts.draw(_chart(glides, name, measured, axis, simulated=simulated))
        for name, axis in AXES
        if (measured := glides.channels.get(name)) is not None
        and np.isfinite(measured.value).any()
    ]


def _chart(
    glides: Glides, name: str, measured: Measured, axis: charts.Axis, *, simulated: bool
) -> Chart:
    return Chart(
        key=f"glide-{name}",
        x_axis=charts.THROTTLE,
        y_axis=axis,
        x=charts.points_of(glides.throttle_frac, charts.THROTTLE),
        y=charts.points_of(measured, axis),
        legs=glides.leg,
        curve=None,
        is_fitted=False,
        simulated=simulated,
        point="mean",
        manner="gliding",
        remark=REMARK,
    )
