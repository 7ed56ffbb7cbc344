"""The file of cases is what the code answers, so that whoever is held to it is too."""

import json
from typing import Any

import pytest

from tests.club.across_vectors import VECTORS, vectors


def _same(told: Any, found: Any, where: str = "") -> None:
    if isinstance(told, dict):
        assert told.keys() == found.keys(), where
        for key in told:
            _same(told[key], found[key], f"{where}.{key}")
    elif isinstance(told, list):
        assert len(told) == len(found), where
        for place, (one, other) in enumerate(zip(told, found, strict=True)):
            _same(one, other, f"{where}[{place}]")
    elif isinstance(told, float):
        assert told == pytest.approx(found, rel=1e-9, abs=1e-12), where
    else:
        assert told == found, where


def test_the_file_is_what_the_code_answers() -> None:
    _same(json.loads(VECTORS.read_text("utf-8")), vectors())


def test_every_kind_of_answer_is_among_the_cases() -> None:
    cases = json.loads(VECTORS.read_text("utf-8"))["cases"]
    answers = [case["expected"] for case in cases]
    assert any("refused" in answer for answer in answers)
    kinds = {(a["verdict"], a["missing"]) for a in answers if "refused" not in a}
    assert kinds == {
        ("more", ""),
        ("less", ""),
        ("cannot tell", ""),
        ("no verdict", "mounting"),
        ("no verdict", "stands"),
    }
    assert any(a["moved"] for a in answers if "refused" not in a)
