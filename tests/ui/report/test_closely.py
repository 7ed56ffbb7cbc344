"""Charts of fast captures: no spike is lost, and two articles are told apart."""

import re

import numpy as np

from daq.analysis.captures import Capture
from daq.analysis.series import Array
from ui.report.closely import COLUMNS, Shown, draw_captures


def capture(
    label: str, value: Array, period_s: float, *, before: int = 0, lost: int = 0
) -> Capture:
    t_s: Array = (np.arange(value.size, dtype=np.float64) - before) * period_s
    return Capture("voltage", label, 3, t_s, value, period_s, 0.02, 0, lost, 1.0)


def flat(label: str = "punch", period_s: float = 200e-6) -> Capture:
    return capture(label, np.full(1000, 12.0), period_s, before=100)


def test_a_single_low_sample_is_in_the_band() -> None:
    value = np.full(1000, 12.0)
    value[503] = 9.5
    (drawn,) = draw_captures(
        [Shown("", [capture("punch", value, 200e-6, before=100)])], simulated=True
    )
    assert drawn.title == "Bus voltage around the punch"
    assert "9.50 to 12.00 V" in drawn.svg
    assert "Time from the trigger, ms" in drawn.svg
    assert ">simulated<" in drawn.svg
    assert "the band runs from the lowest to the highest of each moment" in drawn.note


def test_a_band_has_no_more_corners_than_the_paper_has_room_for() -> None:
    rng = np.random.default_rng(1)
    noisy = capture("punch", 12 + 0.1 * rng.standard_normal(1000), 200e-6)
    (drawn,) = draw_captures([Shown("", [noisy])], simulated=False)
    corners = max(path.count("L") for path in re.findall(r'd="([^"]*)"', drawn.svg))
    assert COLUMNS <= corners <= 2 * COLUMNS + 2


def test_single_cycles_are_drawn_sample_by_sample_for_a_millisecond() -> None:
    value = 12 + 0.1 * np.sin(np.arange(1000.0))
    (drawn,) = draw_captures(
        [Shown("", [capture("burst", value, 10e-6)])], simulated=True
    )
    assert drawn.title == "Bus voltage in the burst"
    assert "the first 1 of 9.99 ms are drawn" in drawn.note
    assert "Time from its first sample, ms" in drawn.svg


def test_of_two_rates_the_closer_samples_are_drawn() -> None:
    slow, fast = flat("burst", 13e-6), flat("burst", 10e-6)
    (drawn,) = draw_captures([Shown("", [slow, fast, fast])], simulated=True)
    assert drawn.note.startswith("The first of 2 captures, one sample every 10 ")


def test_two_articles_are_laid_over_each_other_where_both_have_it() -> None:
    first = Shown("with capacitor", [flat("punch"), flat("chop")])
    second = Shown("without", [flat("punch")])
    (drawn,) = draw_captures([first, second], simulated=True)
    assert drawn.note.endswith("Dark: with capacitor. Light: without.")
    assert "with capacitor: 12.00 to 12.00 V; without: 12.00 to 12.00 V." in drawn.svg


def test_lost_samples_are_a_gap_and_told() -> None:
    value = np.full(1000, 12.0)
    value[200:260] = np.nan
    lost = capture("punch", value, 200e-6, lost=60)
    (drawn,) = draw_captures([Shown("", [lost])], simulated=True)
    assert drawn.note.endswith("60 samples were lost on the line.")


def test_nothing_captured_is_nothing_drawn() -> None:
    assert draw_captures([Shown("", [])], simulated=True) == []
