"""What was found in a bundle, in order of what it rests on, and in words.

Classes of weights after OIML R 111-1 (class M2 is a poorer one than M1).
"""

import pytest

from tests.ui.desktop.club_bundles import checked, run, scale
from ui.desktop.model.found import (
    NOT_TAKEN,
    differing_words,
    runs_found,
    title_of,
)
from ui.desktop.model.standing import MOST, standing_of


def test_a_kitchen_calibration_never_stands_beside_weights_of_a_class() -> None:
    kitchen = run(
        "a-kitchen", scales=[scale("own masses", "masses weighed on a scale")]
    )
    coins = run("b-coins", scales=[scale("coins", "coins")])
    nominal = run("c-nominal", scales=[scale("nominal", "nominal constants")])
    masses = run("d-masses", scales=[scale("masses", "weights of class M2")])
    found = runs_found(checked(kitchen, coins, nominal, masses))
    assert [(f.name, f.standing.rungs, f.standing.words) for f in found] == [
        ("d-masses", 4, "Thrust by weights of a class"),
        ("b-coins", 3, "Thrust by coins"),
        ("a-kitchen", 2, "Thrust by things weighed at home"),
        ("c-nominal", 1, "Thrust not calibrated"),
    ]
    assert found[0].standing.spoken == f"rests on 4 of {MOST}"
    parts = dict(found[0].standing.parts)
    assert parts["thrust"] == (
        "weights of class M2 on 2026-05-01 (standard uncertainty 0.36 %)"
    )
    assert parts["current"] == "not read by this stand"


def test_what_was_measured_comes_before_what_was_simulated_or_made_up() -> None:
    found = runs_found(
        checked(
            run("invented", invented=True, simulated=True),
            run("simulated", simulated=True),
            run("measured", scales=[scale("nominal", "nominal constants")]),
        )
    )
    assert [f.name for f in found] == ["measured", "simulated", "invented"]
    assert [f.standing.nature[:9] for f in found] == ["", "Simulated", "Invented "]


@pytest.mark.parametrize(
    ("record", "rungs", "words"),
    [
        ("tables only", 0, "The sender's word only: no wire log"),
        ("damaged", 1, "Its record was changed or damaged"),
        ("changed", 1, "Its record was changed or damaged"),
    ],
)
def test_a_record_that_is_not_whole_outweighs_any_calibration(
    record: str, rungs: int, words: str
) -> None:
    standing = standing_of(run(record=record).entry.evidence)
    assert (standing.rungs, standing.words) == (rungs, words)


def test_what_else_has_to_be_known_is_among_the_parts() -> None:
    evidence = run(
        elsewhere=True,
        guards_itself=False,
        ended="tripped",
        air_noted=False,
        proof_words="no guard seen to act",
    ).entry.evidence
    parts = dict(standing_of(evidence).parts)
    assert parts["air"] == "not noted"
    assert parts["ended"] == "tripped"
    assert parts["recorded"].startswith("elsewhere")
    assert parts["guards"].endswith("the stand does not stop its motor by itself")


def test_differences_are_named_at_the_head_of_a_bundle() -> None:
    same, other = run("same"), run("other", differences=["max-thrust: 300 and 273."])
    assert differing_words(runs_found(checked(same))) == ""
    assert differing_words(runs_found(checked(same, other))).startswith(
        "In 1 of 2 runs (other) the sender's figures are not what the wire log gives."
    )
    assert differing_words(runs_found(checked(other))).startswith("In its run the")
    many = [run(f"r{n}", differences=["x"]) for n in range(5)]
    assert "(r0, r1, r2 and 2 more)" in differing_words(runs_found(checked(*many)))


def test_a_run_without_its_wire_log_cannot_be_taken() -> None:
    [found] = runs_found(checked(run(raw=False)))
    assert not found.may_take
    assert "wire log" in NOT_TAKEN
    assert found.figures == "Not re-derived: there is no wire log."


def test_a_strangers_text_is_one_line_and_hides_nothing() -> None:
    turned = "\u202egnol\u202c name\nof two lines"
    [found] = runs_found(checked(run(article=turned)))
    assert found.article == "gnol name of two lines"
    assert title_of(checked(title="")) == "A bundle without a title"
    assert title_of(checked(title="a\tb")) == "a b"
