"""What a run's figures rest on, in words."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.bundles import SAMPLES
from ui.club.differing import entries_differ, files_differ
from ui.club.entries import entry_of
from ui.club.entry import Entry
from ui.club.evidence import _held_against, _proof_words, with_words
from ui.results import analyse_folder


@pytest.fixture(scope="module")
def calibrated() -> Entry:
    return entry_of(analyse_folder(SAMPLES / "a-1"))


@pytest.fixture(scope="module")
def nominal() -> Entry:
    return entry_of(analyse_folder(SAMPLES / "short-staircase-a"))


def test_weights_of_a_class_and_a_stands_own_word_are_never_alike(
    calibrated: Entry, nominal: Entry
) -> None:
    assert "thrust by weights of class M1 on 2026-11-26" in calibrated.evidence.words
    assert "thrust by the stand's own constants, nominal" in nominal.evidence.words
    assert calibrated.evidence.scales[0].by == "masses"
    assert nominal.evidence.scales[0].by == "nominal"


def test_all_that_is_asked_of_evidence_is_in_its_line(calibrated: Entry) -> None:
    words = calibrated.evidence.words
    for part in (
        "simulated",
        "current by a meter (1.0 %)",
        "guards seen to cut a real pulse",
        "air noted",
        "wire log there and re-read",
    ):
        assert part in words


@pytest.mark.parametrize(
    ("sources", "by", "words"),
    [
        (["class M2, OIML R 111-1: within 5 mg"], "masses", "weights of class M2"),
        (
            ["class M2, OIML R 111-1: within 5 mg", "as its owner says"],
            "own masses",
            "masses of its owner's word, some of class M2",
        ),
        (["the mint: 7.5 g, within 0.1 g a coin"], "coins", "coins"),
        (
            ["weighed on the kitchen scale"],
            "own masses",
            "masses weighed on the kitchen scale",
        ),
        (
            ["class of my own", "as its owner says"],
            "own masses",
            "masses of its owner's word",
        ),
    ],
)
def test_the_least_of_what_was_used_names_it(
    sources: list[str], by: str, words: str
) -> None:
    told = tuple({"source": source} for source in sources)
    assert _held_against("thrust", told, {}) == (by, words)


def test_a_line_of_words_is_made_of_the_facts_and_of_nothing_else(
    calibrated: Entry,
) -> None:
    said = calibrated.evidence.model_copy(update={"words": "all is well"})
    assert with_words(said) == calibrated.evidence


def test_an_entry_survives_json(calibrated: Entry) -> None:
    text = json.dumps(calibrated.to_dict())
    assert Entry.model_validate_json(text) == calibrated


def test_an_entry_says_what_the_analysis_says(calibrated: Entry) -> None:
    results = analyse_folder(SAMPLES / "a-1")
    assert results.analysis is not None
    finding = next(f for f in results.analysis.findings if f.id == "max-thrust")
    assert calibrated.full is not None
    assert finding.value is not None
    thrust_gf = calibrated.full.thrust_n.value / 9.80665e-3
    assert thrust_gf == pytest.approx(finding.value, rel=1e-6)
    curve = calibrated.curves.specific_thrust
    assert curve is not None
    assert len(curve.x) == 17
    # Own and shared parts together are the half width again, but for Student's t.
    for y, half, own, scale in zip(
        curve.y, curve.half, curve.own_u_rel, curve.scale_u_rel, strict=True
    ):
        whole = (own**2 + scale**2) ** 0.5
        assert 1.9 < half / y / whole < 2.6


def changed(entry: Entry, **given: Any) -> Entry:
    return entry.model_copy(update=given)


def test_the_same_entry_differs_in_nothing(calibrated: Entry) -> None:
    assert entries_differ(calibrated, calibrated) == []


def test_each_difference_is_told(calibrated: Entry, nominal: Entry) -> None:
    first, *rest = calibrated.findings
    assert first.value is not None
    better = first.model_copy(update={"value": 1.1 * first.value})
    told = entries_differ(changed(calibrated, findings=(better, *rest)), calibrated)
    assert "the sender says 300.35 gf, the wire log gives 273.05" in told[0]
    told = entries_differ(changed(calibrated, findings=tuple(rest)), calibrated)
    assert told[0].startswith("Max thrust: the wire log gives it")
    evidence = calibrated.evidence
    told = entries_differ(changed(nominal, evidence=evidence), nominal)
    assert "differ in what it was calibrated by" in " ".join(told)
    told = entries_differ(calibrated, nominal)
    assert told[-1].endswith("more differences.")


def test_files_are_held_against_each_other_by_their_figures() -> None:
    own = b'[{"value": 1.0, "sentence": "one"}]'
    assert files_differ("f.json", own, own) == []
    assert files_differ("f.json", b'[{"value":1.00000001,"sentence":"1"}]', own) == []
    assert "one place" in files_differ("f.json", b'[{"value": 1.1}]', own)[0]
    assert "no JSON" in files_differ("f.json", b"harm", own)[0]
    table = b"a,b\n1,2\n"
    assert files_differ("t.csv", b"a,b\n1.0,2.0\n", table) == []
    assert "one place" in files_differ("t.csv", b"a,b\n=1,2\n", table)[0]


def test_a_picture_is_the_same_each_time_and_takes_any_name(
    calibrated: Entry, tmp_path: Path
) -> None:
    from ui.club.picture import picture_of

    article = calibrated.article.model_copy(update={"name": "$\\frac{$ " * 9})
    strange = changed(calibrated, article=article)
    one = picture_of([strange, calibrated])
    assert one == picture_of([strange, calibrated])
    assert one.startswith(b"\x89PNG")


def test_what_could_not_be_computed_on_both_sides_is_the_same() -> None:
    same = b"step,thrust_gf\n0,nan\n", b"step,thrust_gf\n0.0,nan\n"
    assert files_differ("plateaus.csv", *same) == []
    other = b"step,thrust_gf\n0,nan\n", b"step,thrust_gf\n0,5\n"
    assert "one place" in files_differ("plateaus.csv", *other)[0]


def test_the_stop_of_a_stand_without_guards_is_no_guard() -> None:
    """Such a stand prints lines: this program stops it, and nothing else does."""
    words = "no guard seen to act, only the stop with the motor running"
    assert _proof_words("none", running=True) == words
    assert _proof_words("none", running=False) == "no guard seen to act"
