"""A calibration as text, and what is not believed of a text."""

import json
import math
from dataclasses import asdict, replace

import pytest

from daq.calibration.text import (
    from_dict,
    from_text,
    named,
    to_dict,
    to_text,
    unfinished_from,
)
from daq.calibration.value import Bias
from daq.errors import InputFault
from tests.daq.calibration.invented import Cell, made


def test_it_comes_back_as_it_was() -> None:
    calibration = made(Cell(hysteresis=3e-4, square=4e-3))
    again = from_text(to_text(calibration), "a file")
    # What is no number is equal to nothing, itself included: compared as text.
    assert to_text(again) == to_text(calibration)
    assert again.causes == calibration.causes
    assert again.coefficients == calibration.coefficients


def test_its_identity_names_channel_and_date_and_follows_from_its_content() -> None:
    calibration = made()
    assert calibration.id.startswith("thrust-2026-05-09-")
    other = named(replace(calibration, note="another note"))
    assert other.id != calibration.id
    assert named(replace(other, note="")).id == calibration.id


def test_one_that_was_changed_by_hand_is_refused() -> None:
    data = to_dict(made())
    data["coefficients"][0] *= 1.02
    with pytest.raises(InputFault, match="was changed after it was made"):
        from_dict(data, "a file")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"format": 2}, "a newer gramwatt"),
        ({"kind": "shopping list"}, "is no calibration"),
        ({"format": "1"}, "format is"),
        ({"powers": [1, 2]}, "do not fit each other"),
        ({"coefficients": ["2e-5"]}, "must be a number"),
        ({"colour": "blue"}, "not a known key"),
    ],
)
def test_what_is_no_calibration_is_refused(
    change: dict[str, object], words: str
) -> None:
    with pytest.raises(InputFault, match=words):
        from_dict(to_dict(made()) | change, "a file")


@pytest.mark.parametrize("text", ["", "[1, 2]", "{", '{"a": 1}', "[" * 100_000])
def test_other_text_is_refused(text: str) -> None:
    with pytest.raises(InputFault, match=r"no JSON|no calibration"):
        from_text(text, "a file")


def test_a_compared_mounting_widens_it_and_changes_its_identity() -> None:
    calibration = made()
    bias = Bias("stand moved", 0.01, 0.002, (calibration.id, "another"))
    moved = named(replace(calibration, biases=(bias,)))
    assert bias.component_rel == pytest.approx(math.hypot(0.005, 0.001))
    assert moved.u_rel**2 == pytest.approx(calibration.u_rel**2 + bias.component_rel**2)
    assert from_text(to_text(moved), "x").biases == (bias,)
    assert moved.id != calibration.id


def test_the_text_is_plain_json_without_nan() -> None:
    found = json.loads(
        to_text(made()), parse_constant=lambda name: pytest.fail(f"{name} in it")
    )
    assert found["format"] == 1


# ------------------------------------------------------------ left unfinished


def unfinished(**changed: object) -> str:
    readings = [asdict(point.reading) for point in made().points[:3]]
    content: dict[str, object] = {
        "format": 1,
        "kind": "gramwatt unfinished calibration",
        "channel": "thrust",
        "stand_id": 7,
        "utc": "2026-05-09T09:30:00+00:00",
        "readings": readings,
        "typed": {"0": 1.5},
    }
    return json.dumps(content | changed)


def test_what_was_left_comes_back() -> None:
    readings, typed = unfinished_from(unfinished(), "a file", "thrust", 7)
    assert readings == [point.reading for point in made().points[:3]]
    assert typed == {0: 1.5}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "no JSON"),
        ("[]", "no calibration that was left"),
        (unfinished(channel="current"), "of current of stand 00000007"),
        (unfinished(stand_id=8), "of thrust of stand 00000008"),
        (unfinished(format=2), "format is 2"),
        (unfinished(readings=[{}]), "is missing"),
    ],
)
def test_nothing_goes_on_from_something_else(text: str, words: str) -> None:
    with pytest.raises(InputFault, match=words):
        unfinished_from(text, "a file", "thrust", 7)
