"""Outcome, limits and small words, each read from a record and held against it."""

from dataclasses import replace

import numpy as np
import pytest

from daq.records.wirelog import Damage
from daq.units import n_to_gf
from ui.report.facts import ABNORMAL, DANGER, GOOD, Fact, facts_of
from ui.report.guards import guarded, unguarded
from ui.report.setup import channels_of
from ui.report.words import moment, plain
from ui.results import Results
from ui.series import series_of


def fact(results: Results, label: str, **changes: object) -> Fact:
    run = replace(results.run, **changes)  # type: ignore[arg-type]
    return next(found for found in facts_of(run) if found.label == label)


@pytest.mark.parametrize(
    ("ended", "mark", "value"),
    [
        ("completed", GOOD, "Completed"),
        ("stopped", ABNORMAL, "Stopped"),
        ("tripped", DANGER, "Tripped"),
        ("failed", ABNORMAL, "Failed"),
        ("interrupted", ABNORMAL, "Interrupted"),
        ("<b>", ABNORMAL, "No end on record"),
    ],
)
def test_how_it_ended_has_a_word_and_a_mark(
    results: Results, ended: str, mark: str, value: str
) -> None:
    found = fact(results, "How it ended", outcome={"ended": ended})
    assert (found.mark, found.value) == (mark, value)


def test_a_stop_without_an_answer_is_a_danger(results: Results) -> None:
    outcome = {"ended": "stopped", "stop_confirmed": False}
    found = fact(results, "How it ended", outcome=outcome)
    assert found.mark == DANGER
    assert found.notes == ("The stand did not confirm the stop.",)


@pytest.mark.parametrize(
    ("sealed", "intact", "damage", "mark", "value"),
    [
        (True, True, Damage(), GOOD, "Sealed and intact"),
        (True, False, Damage(), DANGER, "Changed"),
        (True, True, Damage(9, 1), ABNORMAL, "Sealed, with damage"),
        (False, None, Damage(), ABNORMAL, "Not sealed"),
        (False, None, Damage(9, 2), ABNORMAL, "Not sealed"),
    ],
)
def test_the_record_is_intact_only_when_it_is_all_three(
    results: Results,
    sealed: bool,
    intact: bool | None,
    damage: Damage,
    mark: str,
    value: str,
) -> None:
    found = fact(results, "The record", sealed=sealed, intact=intact, damage=damage)
    assert (found.mark, found.value) == (mark, value)
    assert any("cannot be read" in note for note in found.notes) == bool(damage.places)


def test_nearness_to_a_limit_is_that_of_the_raw_counts(results: Results) -> None:
    run = results.run
    rows = {row.channel: row for row in guarded(run, series_of(run)[0])}
    assert list(rows) == ["current", "voltage", "speed", "thrust"] or set(rows) == {
        "current",
        "voltage",
        "speed",
        "thrust",
    }
    armed_s = next(run.notes("armed")).note["device_s"]
    means = next(run.notes("zeroed")).note["means"]
    assert isinstance(armed_s, float)
    assert isinstance(means, dict)
    stream = next(s for s in run.streams if len(s.channels) == 1)
    page = stream.channels[0]
    counts = stream.counts[stream.device_s >= armed_s, 0].astype(float)
    thrust_n = (counts - page.zero_counts) / page.counts_per_unit - means["thrust"]
    highest_gf = n_to_gf(float(np.max(thrust_n)))
    row = rows["thrust"]
    assert row.mark == GOOD
    assert f"to {highest_gf:.0f} gf while armed" in row.seen
    assert f"to spare, {1000 - highest_gf:.0f} gf above" in row.seen
    assert row.allowed == "\N{MINUS SIGN}100 to 1000 gf"
    assert row.bar is not None
    start, width = row.bar
    assert start + width == pytest.approx(100 * (highest_gf + 100) / 1100, abs=0.05)


def test_a_reading_past_a_limit_is_marked_as_danger(results: Results) -> None:
    header = dict(results.run.header)
    task = header["task"]
    assert isinstance(task, dict)
    limits = [
        limit | {"high": 5.0} if limit["channel"] == "current" else limit
        for limit in task["limits"]
    ]
    header["task"] = task | {"limits": limits}
    run = replace(results.run, header=header)
    row = next(r for r in guarded(run, series_of(run)[0]) if r.channel == "current")
    assert row.mark == DANGER
    assert "single readings went" in row.seen
    assert row.bar is not None
    assert sum(row.bar) == pytest.approx(100)


def test_a_limit_nobody_could_watch_is_named(results: Results) -> None:
    decision = results.run.decisions[0]
    note = {"note": "unguarded", "channels": ["speed", "speed"]}
    run = replace(results.run, decisions=(replace(decision, note=note),))
    assert unguarded(run) == ["speed"]


def test_an_undeclared_scale_factor_is_said_to_be_assumed(results: Results) -> None:
    from daq.link.messages import NOT_KNOWN_PPM

    stand = results.run.stand
    assert stand is not None
    untold = replace(stand.channels[0], gain_u_ppm=NOT_KNOWN_PPM)
    run = replace(results.run, stand=replace(stand, channels=(untold,)))
    assert channels_of(run)[0].gain == "not stated; 5 % taken"


@pytest.mark.parametrize(
    ("utc", "words"),
    [
        ("2026-05-09T14:02:11+00:00", "2026-05-09 14:02 UTC"),
        ("2026-05-09T14:02:11+02:00", "2026-05-09 12:02 UTC"),
        ("2026-05-09T14:02:11Z", "2026-05-09 14:02 UTC"),
        ("2026-05-09T14:02", "2026-05-09 14:02"),
        ("0001-01-01T00:00:00+23:00", "0001-01-01T00:00:00+23:00"),
        ("yesterday", "yesterday"),
        ("", "not on record"),
    ],
)
def test_times_are_read_or_left_as_they_are(utc: str, words: str) -> None:
    assert moment(utc) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (4600, "4600"),
        (76.2, "76.2"),
        (1e6, "1000000"),
        (0.0, "0"),
        (1.5e-5, "0.000015"),
    ],
)
def test_numbers_are_written_without_an_exponent(value: float, words: str) -> None:
    assert plain(value) == words
