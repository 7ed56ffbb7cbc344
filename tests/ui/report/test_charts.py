"""Charts: points where the plateaus are, told apart, in the page's own colours."""

import re
from pathlib import Path

import numpy as np
import pytest

from ui.report import svg
from ui.report.charts import MISFIT_TOLD, THRUST, draw_all
from ui.report.paper import grouped, label
from ui.results import Results, analyse_folder


@pytest.fixture(scope="module")
def charts(results: Results) -> dict[str, str]:
    """Charts of the run, by title."""
    assert results.analysis is not None
    drawn, missing = draw_all(results.analysis, simulated=False)
    assert missing == []
    return {chart.title: str(chart.svg) for chart in drawn}


def places(chart: str, color: str) -> list[tuple[float, float]]:
    """Where markers of a colour stand, in the units of the SVG."""
    found = re.findall(
        r'<use xlink:href="#\w+" x="([\d.]+)" y="([\d.]+)" style="([^"]*)"', chart
    )
    return [(float(x), float(y)) for x, y, style in found if color in style]


def test_the_charts_of_a_run_in_their_order(charts: dict[str, str]) -> None:
    assert list(charts) == [
        "Thrust against throttle",
        "Current against throttle",
        "Electrical power against throttle",
        "Thrust against electrical power",
        "Specific thrust against thrust",
        "Thrust coefficient C_T against speed",
    ]


def test_points_stand_where_the_plateaus_are(
    results: Results, charts: dict[str, str]
) -> None:
    assert results.analysis is not None
    plateaus = results.analysis.plateaus
    thrust = plateaus.measured("thrust")
    assert thrust is not None
    chart = charts["Thrust against throttle"]
    # One more of each colour is in the legend, last.
    up = places(chart, "stroke: var(--ink)")[:-1]
    down = places(chart, "stroke: var(--second)")[:-1]
    assert len(up) == len(down) == 4
    legs = [plateaus.leg.index("up"), plateaus.leg.index("down")]
    assert legs == [0, 4]
    at = np.array(up + down)
    throttle = 100 * plateaus.throttle_frac
    # A linear axis: pixels go with values in a straight line, within the two
    # decimals that are written.
    for pixels, values in (
        (at[:, 0], throttle),
        (at[:, 1], thrust.value * THRUST.scale),
    ):
        line = np.polyfit(values, pixels, 1)
        assert np.abs(np.polyval(line, values) - pixels).max() < 0.02


def test_thrust_against_power_goes_through_all_six_levels_of_the_sample_run() -> None:
    sample = Path(__file__).parents[3] / "sample_runs" / "short-staircase-a"
    analysis = analyse_folder(sample).analysis
    assert analysis is not None
    assert len(set(analysis.plateaus.throttle_frac)) == 6
    curve = analysis.evidence.curve("thrust against power")
    thrust = analysis.plateaus.measured("thrust")
    assert curve is not None
    assert thrust is not None
    assert analysis.evidence.power is not None
    power_w = analysis.evidence.power.measured.value
    y, low, high = curve.band(power_w)
    point_low, point_high = thrust.interval()
    assert ((point_low <= y) & (y <= point_high)).all()
    top = int(np.argmax(power_w))
    assert high[top] - low[top] <= 3 * (point_high[top] - point_low[top])
    # A speed that comes in coarse steps is no excursion: nothing went wrong here.
    assert {row["flags"] for row in analysis.rows()} == {""}


def test_a_large_misfit_is_told_below_its_chart(results: Results) -> None:
    assert results.analysis is not None
    drawn, _ = draw_all(results.analysis, simulated=False)
    notes = {chart.title: chart.note for chart in drawn}
    for curve in results.analysis.curves:
        title = f"{curve.name[:1].upper()}{curve.name[1:]}".replace(
            "against power", "against electrical power"
        ).replace("Power against", "Electrical power against")
        if title not in notes:
            continue  # speed against throttle is fitted, not drawn
        told = re.search(r"by about ([\d.]+) % of the highest", notes[title])
        assert (told is not None) == (curve.misfit_share >= MISFIT_TOLD), title
        if told is not None:
            assert float(told[1]) == pytest.approx(100 * curve.misfit_share, rel=0.05)
            assert "the band allows for that" in notes[title]
    assert any(curve.misfit_share >= MISFIT_TOLD for curve in results.analysis.curves)


def test_up_and_down_differ_in_shape_and_not_only_in_colour(
    charts: dict[str, str],
) -> None:
    for chart in charts.values():
        shapes = {}
        for color in ("var(--ink)", "var(--second)"):
            used = re.findall(
                rf'<use xlink:href="#(\w+)"[^>]*stroke: {re.escape(color)}[^>]*>', chart
            )
            path = re.search(rf'id="{used[-1]}" d="([^"]*)"', chart)
            assert path is not None
            shapes[color] = re.sub(r"\s+", " ", path[1])
        assert shapes["var(--ink)"] != shapes["var(--second)"]
        assert "fill: none" in chart


def test_every_chart_has_words_for_those_who_cannot_see_it(
    charts: dict[str, str],
) -> None:
    for title, chart in charts.items():
        assert 'role="img"' in chart
        assert f">{title}</title>" in chart
        words = re.search(r"<desc [^>]*>([^<]*)</desc>", chart)
        assert words is not None
        assert words[1].startswith("8 plateaus: ")


def test_no_colour_is_fixed_and_no_font_is_named(charts: dict[str, str]) -> None:
    for chart in charts.values():
        assert not re.search(r"#[0-9a-fA-F]{6}\b", chart)
        assert "font-family" not in chart
        used = set(re.findall(r"var\((--[a-z-]+)\)", chart))
        assert used <= {role[4:-1] for role in svg.ROLES.values()}


def test_numbers_that_are_written_keep_their_decimals() -> None:
    with svg.drawing("one"):
        figure = svg.new_figure(200, 100)
        axes = figure.add_axes((0.2, 0.2, 0.7, 0.6))
        axes.plot([0.1234567, 0.9], [0, 1])
        label(axes, "C_T is 0.14567", 10)
        drawn = str(svg.inline(figure, "one", "a < b", 'say "no"'))
    assert ">C_T is 0.14567<" in drawn
    assert ">a &lt; b</title>" in drawn
    numbers = re.findall(r'd="([^"]*)"', drawn)
    assert numbers
    assert not re.search(r"\.\d{3}", " ".join(numbers))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0, "0"),
        (0.025, "0.025"),
        (40000.0, "40\N{THIN SPACE}000"),
        (-2.5, "\N{MINUS SIGN}2.5"),
    ],
)
def test_ticks_are_plain_numbers(value: float, words: str) -> None:
    assert grouped(value) == words
