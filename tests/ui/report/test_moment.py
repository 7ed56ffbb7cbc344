"""The seconds around a cut: what is drawn is what was asked for and read."""

import re
from dataclasses import replace

import numpy as np
import pytest

from daq.units import rad_s_to_rpm
from protocols.retreat import RETREAT_S
from tests.ui.cut_runs import CutRuns
from tests.ui.report.reading import read
from ui.report.moment import AFTER_S, BEFORE_S, Moment, draw_moment, read_moment
from ui.report.page import render
from ui.report.timeline import room, walked_stretches
from ui.series import series_of


def around(cut_runs: CutRuns, name: str, *less: str) -> Moment:
    run = cut_runs.of(name).run
    series = {k: v for k, v in series_of(run)[0].items() if k not in less}
    found = read_moment(run, series, walked_stretches(run))
    assert found is not None
    return found


def panel_names(moment: Moment) -> list[str]:
    return [panel.label for panel in moment.panels]


def test_it_shows_throttle_pulse_current_and_speed_around_the_cut(
    cut_runs: CutRuns,
) -> None:
    moment = around(cut_runs, "thrown")
    names = ["Pulse read back, \N{MICRO SIGN}s", "Current, A", "Speed, rpm"]
    assert panel_names(moment) == names
    first_s, last_s = moment.span_s
    assert first_s == pytest.approx(moment.cut.at_s - BEFORE_S)
    assert moment.cut.at_s < last_s <= moment.cut.at_s + AFTER_S
    assert moment.zero_s is not None
    assert 0 <= moment.zero_s - moment.cut.at_s < 0.01


def test_without_a_speed_the_thrust_is_shown(cut_runs: CutRuns) -> None:
    assert panel_names(around(cut_runs, "thrown", "speed"))[-1] == "Thrust, gf"
    assert panel_names(around(cut_runs, "thrown", "speed", "thrust")) == [
        "Pulse read back, \N{MICRO SIGN}s",
        "Current, A",
    ]


def test_the_throttle_falls_at_the_cut_and_stays_down(cut_runs: CutRuns) -> None:
    moment = around(cut_runs, "thrown")
    corners = moment.throttle
    after = corners[corners[:, 0] > moment.cut.at_s]
    assert (after[:, 1] == 0).all()
    before = corners[corners[:, 0] < moment.cut.at_s]
    assert before[-1, 1] == 60


def test_the_throttle_of_a_ramp_down_goes_down_as_it_was_sent(
    cut_runs: CutRuns,
) -> None:
    moment = around(cut_runs, "burst")
    pulse = moment.panels[0]
    into_s = 0.5 * RETREAT_S
    at_s = moment.cut.at_s + into_s
    asked = np.interp(at_s, moment.throttle[:, 0], moment.throttle[:, 1])
    # 1000 to 2000 us is this stand's pulse; sent every 25 ms, framed every 2.5 ms.
    seen = (np.interp(at_s, pulse.t_s, pulse.value) - 1000) / 10
    assert asked == pytest.approx(seen, abs=60 * 0.03 / RETREAT_S)
    assert moment.zero_s is not None
    assert moment.zero_s - moment.cut.at_s == pytest.approx(RETREAT_S, abs=0.03)


def test_readings_are_those_that_the_guard_saw(cut_runs: CutRuns) -> None:
    moment = around(cut_runs, "stalled")
    speed = moment.panels[-1]
    before = speed.t_s < moment.cut.at_s - 0.2
    series = series_of(cut_runs.of("stalled").run)[0]["speed"]
    at = np.searchsorted(series.t_s, speed.t_s[before][-1])
    assert speed.value[before][-1] == rad_s_to_rpm(float(series.value_si[at]))


def test_a_limit_is_drawn_where_readings_came_near_it(cut_runs: CutRuns) -> None:
    limits = [panel.limit for panel in around(cut_runs, "stalled").panels]
    assert limits == [None, 12.0, None]
    wide = draw_moment(around(cut_runs, "stalled"))[0][1].svg
    assert ">limit 12<" in wide
    assert all(p.limit is None for p in around(cut_runs, "stopped").panels)


def test_nothing_heard_after_the_cut_is_an_empty_stretch(cut_runs: CutRuns) -> None:
    moment = around(cut_runs, "cable")
    heard_s = max(float(panel.t_s[-1]) for panel in moment.panels)
    assert heard_s < moment.cut.at_s - 0.1
    assert moment.span_s[1] > moment.cut.at_s + 0.3
    note = draw_moment(moment)[0][1].note
    assert "the stand was not heard any more" in note
    assert "was not read back" in note


def test_the_picture_says_in_words_what_it_shows(cut_runs: CutRuns) -> None:
    for name, word in (("thrown", "tripped"), ("stopped", "stopped")):
        for _, drawn in draw_moment(around(cut_runs, name)):
            assert f">{word}</text>" in drawn.svg
            assert re.search(r">pulse at zero \d+ ms later</text>", drawn.svg)
            said = re.search(r"<desc[^>]*>([^<]*)</desc>", drawn.svg)
            assert said is not None
            assert f"{word} at 0 s; pulse at zero" in said[1]
            assert said[1].endswith("Simulated.")


def test_words_stay_inside_of_the_narrow_picture(cut_runs: CutRuns) -> None:
    (_, wide), (_, narrow) = draw_moment(around(cut_runs, "thrown"))
    said = re.compile(r"<text[^>]*text-anchor: (\w+)[^>]*>pulse at zero")
    beside, above = said.search(wide.svg), said.search(narrow.svg)
    assert beside is None or beside[1] == "start"
    assert above is not None
    assert above[1] == "end"


def test_there_is_nothing_to_draw_where_nothing_was_cut_or_read(
    cut_runs: CutRuns,
) -> None:
    whole = cut_runs.of("whole").run
    assert read_moment(whole, series_of(whole)[0], walked_stretches(whole)) is None
    run = replace(cut_runs.of("thrown").run, streams=())
    assert read_moment(run, {}, walked_stretches(run)) is None
    assert read_moment(run, {}, ()) is None


@pytest.mark.parametrize(
    ("low", "high", "from_zero", "inside"),
    [
        (119.0, 119.2, True, (0.0, 119.2)),
        (-0.2, -0.1, True, (-0.2, 0.0)),
        (12.1, 12.6, False, (12.1, 12.6)),
        (5.0, 5.0, False, (5.0, 5.0)),
        (0.0, 0.0, True, (0.0, 0.0)),
    ],
)
def test_there_is_room_around_what_was_read(
    low: float, high: float, from_zero: bool, inside: tuple[float, float]
) -> None:
    bottom, top = room(low, high, from_zero=from_zero)
    span = top - bottom
    assert inside[0] - bottom > 0.02 * span
    assert top - inside[1] > 0.02 * span


# ------------------------------------------------------------------ on the page


@pytest.mark.parametrize("name", ["thrown", "stalled", "cable", "runs on", "brown-out"])
def test_a_cut_run_has_a_page_that_tells_it(cut_runs: CutRuns, name: str) -> None:
    results = cut_runs.of(name)
    page = read(render(results))
    text = page.text()
    title = "The stop" if name == "runs on" else "The trip"
    assert title in page.within("h2")
    assert page.within("figcaption").count("The seconds around it") == 2
    assert "Proof before the spin" in page.within("h3")
    assert "1 of 2 dwells to their end, up to 30 % throttle" in text
    levels = 2 if name in ("cable", "runs on", "brown-out") else 1
    assert ("Highest thrust reached" in text) == (levels == 2)
    assert not re.search(r"\b(None(?! of \d)|nan|NaN|inf|Traceback)\b", text)
    ids = [a["id"] for _, a in page.tags if a.get("id")]
    assert len(ids) == len(set(ids))


def test_a_run_that_ran_on_says_so_first(cut_runs: CutRuns) -> None:
    text = read(render(cut_runs.of("runs on"))).text()
    assert "How it ended Stopped The motor ran on." in text
    lost = read(render(cut_runs.of("cable"))).text()
    assert "How it ended Tripped The stand did not confirm the stop." in lost
    assert "Why Current has been silent for 200 ms. Advice: Look at the cable" in lost


def test_a_failed_proof_is_told_before_what_was_not_measured(
    cut_runs: CutRuns,
) -> None:
    page = read(render(cut_runs.of("no pulse")))
    headings = page.within("h2")
    assert headings.index("Guards") < headings.index("Findings")
    assert "The trip" not in headings
    assert "NOT PROVEN: lease." in page.text()
    assert "Time since the first reading" in page.text()
    assert "Throttle, %" not in page.within("text")
    whole = read(render(cut_runs.of("whole"))).within("h2")
    assert whole.index("Guards") > whole.index("Plateaus")


def test_a_timed_limit_is_on_the_page_with_how_much_was_used(
    cut_runs: CutRuns,
) -> None:
    text = read(render(cut_runs.of("burst"))).text()
    assert "Timed limits Plug 12 A for 0.05 s, 2 A for as long as one likes" in text
    assert "% of it was used at the most" in text
    plain = read(render(cut_runs.of("whole"))).text()
    assert "No part was allowed more than it bears" in plain
