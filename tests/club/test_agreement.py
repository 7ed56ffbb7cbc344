"""The file that a round robin leaves, and what members write down differently."""

import json
from pathlib import Path
from typing import Any

import pytest

from daq.analysis.agreed import Agreement
from daq.errors import InputFault
from daq.records.shelf import Article
from tests.travelling import article
from ui.club.agreement import MOST_BYTES, checked, read_agreement, write_agreement
from ui.club.agreement_use import agreement_for
from ui.club.entry import key_of
from ui.travelling import differing, refuse_another

SCALE, OTHER = "stand 00000051, nominal", "stand 00000052, nominal"


def content() -> dict[str, Any]:
    """An agreement of two stands, as a file has it."""
    stands = [
        {"scale": key_of(scale), "stand": key_of(scale), "name": name, "runs": 3}
        for scale, name in ((SCALE, "Stand A"), (OTHER, "Stand B"))
    ]
    biases = {key_of(SCALE): {"log": 0.02, "u": 0.004, "dof": 8.0}}
    return {
        "format": 1,
        "round": "Tern Lane, autumn round",
        "article": "traveller",
        "utc_from": "2026-10-09T14:00:00+00:00",
        "utc_to": "2026-10-19T14:00:00+00:00",
        "simulated": True,
        "closed": True,
        "changed": False,
        "stands": stands,
        "ranges": {"thrust": {"low": 2.5, "high": 7.9}},
        "quantities": {
            "thrust": {
                "within": {"sd": 0.008, "dof": 8.0},
                "between": {"sd": 0.02, "dof": 2.0},
                "consensus_u": 0.013,
                "biases": biases,
            }
        },
        "sentences": ["Stand A reads +2 % against the consensus."],
    }


def test_an_agreement_comes_back_from_its_file(tmp_path: Path) -> None:
    told = checked(json.dumps(content()).encode(), "here")
    path = tmp_path / "of the club" / "agreement.json"
    write_agreement(told, path)
    assert read_agreement(path) == told


def test_stands_are_found_by_what_runs_call_them() -> None:
    told = checked(json.dumps(content()).encode(), "here")
    agreed = agreement_for(told, [SCALE, "another"]).of("thrust")
    assert agreed.biases[SCALE].log == 0.02
    assert list(agreed.biases) == [SCALE]
    assert agreed.between is not None
    assert agreed.between.dof == 2.0
    assert agreed.consensus_u == 0.013
    assert agreement_for(told, []).of("specific thrust") == Agreement().of("thrust")
    # Whoever reads the file learns no stand's number.
    assert "00000051" not in json.dumps(told.to_dict())


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"quantities": {"torque": {}}}, "torque"),
        ({"quantities": {}}, "quantities"),
        ({"round": 3}, "round"),
        ({"round": "x" * 200}, "round"),
        ({"round": "autumn\x1b[2J"}, "round"),
        ({"article": "one\nline more"}, "article"),
        ({"sentences": ["to the \u202eleft"]}, "sentences"),
        ({"extra": 1}, "extra"),
        ({"format": 2}, "format"),
        ({"stands": []}, "stands"),
        ({"utc_from": "yesterday"}, "utc_from"),
        ({"ranges": {"thrust": {"low": float("nan"), "high": 1.0}}}, "low"),
    ],
)
def test_what_is_no_agreement_is_refused_with_a_sentence(
    tmp_path: Path, changed: dict[str, Any], why: str
) -> None:
    path = tmp_path / "sent.json"
    path.write_text(json.dumps(content() | changed), "utf-8")
    with pytest.raises(InputFault, match=why) as fault:
        read_agreement(path)
    assert "sent.json" in str(fault.value)


@pytest.mark.parametrize("key", ["log", "u", "dof"])
@pytest.mark.parametrize("value", [1e300, float("inf"), "0", None])
def test_no_bias_is_beyond_what_a_stand_can_be_off(key: str, value: object) -> None:
    data = content()
    data["quantities"]["thrust"]["biases"][key_of(SCALE)][key] = value
    with pytest.raises(InputFault, match="here"):
        checked(json.dumps(data).encode(), "here")


def test_files_that_are_something_else_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "sent.json"
    for text in (b"{", b"[]", b"\xff\xfe", b"[" * 5000, b""):
        path.write_bytes(text)
        with pytest.raises(InputFault, match=r"sent\.json"):
            read_agreement(path)
    path.write_bytes(b" " * (MOST_BYTES + 1))
    with pytest.raises(InputFault, match="larger than an agreement"):
        read_agreement(path)
    with pytest.raises(InputFault, match="no such file"):
        read_agreement(tmp_path / "nowhere.json")
    with pytest.raises(InputFault, match="cannot be read"):
        read_agreement(tmp_path)


def test_descriptions_that_differ_in_what_matters_are_told() -> None:
    first = Article.from_dict(article(), "one")
    whole = article()
    whole["motor"] |= {"kv_rpm_v": 4500}
    whole["propeller"] |= {"diameter_mm": 79.0}
    whole["pack"] |= {"cells": 4}
    whole["capacitor"] = {"name": "low ESR", "capacitance_uf": 470, "rated_v": 35}
    second = Article.from_dict(whole, "other")
    told = [("one", first), ("other", second)]
    refuse_another(told)
    said = differing(told)
    assert len(said) == 4
    assert "4500 and 4600 rpm/V" in said[0]
    assert "76.2 to 79 mm" in said[1]
    assert "3 cells and by 4 cells" in said[2]
    assert "capacitor" in said[3]
    assert differing([("one", first), ("again", first)]) == []


@pytest.mark.parametrize("part", ["motor", "propeller", "esc"])
def test_a_part_that_travels_has_one_name(part: str) -> None:
    first = Article.from_dict(article(), "one")
    whole = article()
    whole[part] |= {"name": f"  {whole[part]['name'].upper()}"}
    same = Article.from_dict(whole, "other")
    refuse_another([("one", first), ("other", same)])
    whole[part] |= {"name": "something else"}
    wrong = Article.from_dict(whole, "other")
    with pytest.raises(InputFault, match='and "something else" in other'):
        refuse_another([("one", first), ("other", wrong)])


def test_the_guide_is_printed_and_names_commands_that_are_there(
    capsys: pytest.CaptureFixture[str],
) -> None:
    from protocols.recipe import load_recipe
    from ui.cli.main import main, parser

    assert main(["club", "guide"]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 90
    for protocol in ("round-robin", "low-staircase"):
        assert f"gramwatt spin {protocol}" in text
        load_recipe(protocol)
    parser().parse_args(["club", "agree", "FOLDER", "--out", "a", "--page", "b"])
    parser().parse_args(["compare", "MINE", "YOURS", "--agreement", "a"])
    assert "No lithium pack is ever posted" in text


def test_the_protocol_of_the_round_suits_stands_that_only_print_lines() -> None:
    from protocols.recipe import expand, load_recipe
    from protocols.unprotected import MAX_DURATION_S, MAX_THROTTLE_FRAC

    plan = expand(load_recipe("round-robin"))
    assert plan.max_throttle_frac <= MAX_THROTTLE_FRAC
    assert plan.duration_s <= MAX_DURATION_S
