"""The chart of a pack that was emptied: voltage under load against charge drawn.

Two lines and a floor: as measured with one motor, and as the aircraft's motors would
have it. What was solved and not measured is drawn broken and says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from daq import units
from ui.report import charts, svg
from ui.report.charts import Drawn
from ui.report.paper import label, paper, say_simulated, span

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from daq.analysis.emptied import Emptied

KEY: Final = "emptied"
TITLE: Final = "Voltage under load against charge drawn"
BROKEN: Final = (0, (4, 2))
# Room below the floor and above the full pack, as a share of what lies between.
ROOM: Final = 0.08


def draw_emptied(emptied: Emptied | None, *, simulated: bool) -> list[Drawn]:
    """The chart, where a pack was emptied or was to be."""
    if emptied is None:
        return []
    with svg.drawing(KEY):
        figure, axes = charts.one_chart()
        _lines(axes, emptied)
        paper(axes)
        label(axes, "Bus voltage, V", charts.LEFT)
        axes.set_xlabel("Charge drawn, mAh", labelpad=6)
        if simulated:
            say_simulated(axes, charts.BOTTOM)
        drawn = svg.inline(figure, KEY, TITLE, _words(emptied))
    return [Drawn(TITLE, drawn, _note(emptied))]


def _lines(axes: Axes, emptied: Emptied) -> None:
    floor_v = emptied.goal.floor_v
    charge = emptied.drawn_c * units.coulomb_to_mah(1.0)
    top_v = float(max(emptied.bus_v.max(), emptied.rest_v.value[0]))
    low_v = min(floor_v, float(emptied.bus_v.min()))
    pad_v = ROOM * (top_v - low_v)
    span(axes, "x", 0.0, float(charge[-1]))
    span(axes, "y", low_v - pad_v, top_v + pad_v)
    axes.axhline(floor_v, color=svg.DANGER, linewidth=1)
    axes.annotate(
        f"floor {floor_v:.4g} V",
        (axes.get_xlim()[0], floor_v),
        xytext=(4, 3),
        textcoords="offset points",
        color=svg.DANGER,
    )
    axes.plot(charge, emptied.bus_v, color=svg.INK, linewidth=1.4)
    air = emptied.in_air
    if air is None:
        return
    flown = air.drawn_c * units.coulomb_to_mah(1.0)
    axes.plot(flown, air.bus_v, color=svg.SECOND, linewidth=1.4, linestyle=BROKEN)


def _note(emptied: Emptied) -> str:
    if emptied.in_air is None:
        return "Means over slices of the hold, as measured with one motor."
    motors = emptied.in_air.motors
    return (
        "Line: means over slices of the hold, as measured with one motor. Broken: the "
        f"same pack under all {motors} motors in hover and the electronics, solved by "
        "its resistance, not measured."
    )


def _words(emptied: Emptied) -> str:
    end = units.coulomb_to_mah(float(emptied.drawn_c[-1]))
    words = (
        f"From {float(emptied.bus_v[0]):.2f} V to {float(emptied.bus_v[-1]):.2f} V "
        f"over {end:.0f} mAh with one motor"
    )
    if emptied.in_air is not None:
        flown = units.coulomb_to_mah(float(emptied.in_air.charge_c.value[0]))
        words += f"; with all motors the floor comes at {flown:.0f} mAh"
    return f"{words}."
