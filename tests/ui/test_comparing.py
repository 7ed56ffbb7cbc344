"""Run folders to a comparison: in the terminal, as JSON, as a page."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from daq.errors import InputFault
from tests.mountings import mounted, taking_turns
from ui.cli.main import main
from ui.comparing import Comparison, compare_folders
from ui.report.comparison import write_comparison

HOSTILE = '<script>alert("B")</script>'


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return taking_turns(tmp_path_factory.mktemp("runs"))


@pytest.fixture(scope="module")
def comparison(folders: list[Path]) -> Comparison:
    return compare_folders(folders)


def test_runs_are_sorted_by_article_and_held_against_the_first(
    comparison: Comparison,
) -> None:
    assert [group.name for group in comparison.groups] == ["motor A", "motor B"]
    assert [len(group.results) for group in comparison.groups] == [2, 2]
    assert comparison.order == "A B B A"
    assert comparison.simulated
    by_what = {one.what: one for one in comparison.compared["motor B"].differences}
    assert by_what["thrust"].verdict == "more"
    assert by_what["thrust"].runs == (2, 2)
    assert by_what["thrust"].mean[1] < 0.25 < by_what["thrust"].mean[2]


def test_each_article_answers_what_it_does_on_its_aircraft(
    comparison: Comparison,
) -> None:
    asked = {chosen.question: chosen for chosen in comparison.chosen}
    assert next(iter(asked)) == "hovers longest"
    punch = asked["punches hardest"]
    assert punch.choice is not None
    assert punch.candidates[punch.choice.best].article == "motor B"
    assert punch.choice.tied == ()


def test_what_must_be_known_is_said(comparison: Comparison) -> None:
    said = " ".join(comparison.cautions)
    assert "nothing here speaks of a model" in said
    assert "nominal" in said
    assert "simulated" in said
    assert "different stands" not in said


@pytest.mark.slow
def test_runs_in_blocks_are_warned_of(folders: list[Path], tmp_path: Path) -> None:
    first, second, third, last = folders
    del second, third
    alone = mounted(tmp_path, "motor C", 4)
    again = mounted(tmp_path, "motor C", 5)
    found = compare_folders([first, last, alone, again])
    assert found.order == "A A B B"
    assert any("take turns" in caution for caution in found.cautions)


def test_more_runs_only_teach_what_mounting_again_does(folders: list[Path]) -> None:
    found = compare_folders(folders[:2], learn_from=folders[2:])
    difference = found.compared["motor B"].differences[0]
    assert difference.runs == (1, 1)
    assert difference.reproducibility is not None
    assert difference.reproducibility.dof == 2


@pytest.mark.parametrize("fault", ["one run", "the same run twice"])
def test_what_is_no_comparison_is_refused(folders: list[Path], fault: str) -> None:
    asked = folders[:1] if fault == "one run" else [folders[0], folders[0]]
    why = "two runs or more" if fault == "one run" else "named twice"
    with pytest.raises(InputFault, match=why):
        compare_folders(asked)


@pytest.mark.slow
def test_two_articles_of_one_name_are_refused(tmp_path: Path) -> None:
    from tests.mountings import article
    from tests.runs import write_run
    from tests.spins import spin

    walked = spin()
    walked.run()
    one = write_run(walked, tmp_path, article=article("motor A"))
    changed: dict[str, Any] = article("motor A")
    changed["motor"] = changed["motor"] | {"kv_rpm_v": 5000}
    other = write_run(walked, tmp_path, article=changed)
    with pytest.raises(InputFault, match="tell them apart"):
        compare_folders([one, other])
    nameless = write_run(walked, tmp_path)
    with pytest.raises(InputFault, match="does not say what was tested"):
        compare_folders([one, nameless])


def test_the_command_tells_verdict_choice_and_cautions(
    folders: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", *map(str, folders)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "motor B gave more thrust than motor A" in said
    assert "Mounted again, an article differs from itself by" in said
    assert "Which punches hardest: motor B." in said
    assert "caution each article is one specimen" in said


@pytest.mark.slow
def test_one_article_alone_teaches(
    folders: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", str(folders[0]), str(folders[3])]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Mounted again, an article differed from itself" in said


@pytest.mark.slow
def test_json_holds_the_same_sentences(
    folders: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", "--json", *map(str, folders)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["order"] == "A B B A"
    verdicts = [one["verdict"] for one in told["differences"]]
    assert "more" in verdicts
    assert all(len(one["low"]) == len(one["x"]) for one in told["differences"])
    assert told["choice"][0]["values"].keys() == {"motor A", "motor B"}


@pytest.mark.parametrize("percent", ["0", "-3", "100", "nan"])
def test_a_difference_that_cannot_matter_is_refused(
    folders: list[Path], capsys: pytest.CaptureFixture[str], percent: str
) -> None:
    asked = ["compare", *map(str, folders), f"--matters={percent}"]
    assert main(asked) == 1
    assert "percentage above 0" in capsys.readouterr().err


def test_the_page_stands_alone_and_hostile_names_stay_text(
    comparison: Comparison, folders: list[Path], tmp_path: Path
) -> None:
    page = tmp_path / "page.html"
    write_comparison(comparison, 0.03, page)
    text = page.read_text(encoding="utf-8")
    assert "motor B gave more thrust than motor A" in text
    assert "Simulated: no hardware" in text
    assert text.lower().count("simulated: no hardware") == 1  # said once, at its head
    assert text.count("<figure>") == 4
    assert "B against A, thrust" in text
    assert "Where it leaves zero out the zero line is thick." in text
    shown = re.sub(r"<(svg|style)\b.*?</\1>", "", text, flags=re.S)
    assert not re.search(r"\d (?:%|V)", shown)  # a figure is not torn from its unit
    for forbidden in ('http-equiv="refresh', "<script", "src=", "@import"):
        assert forbidden not in text
    hostile = mounted(tmp_path, HOSTILE, 6)
    write_comparison(compare_folders([folders[0], hostile]), 0.03, page)
    text = page.read_text(encoding="utf-8")
    assert HOSTILE not in text
    assert "&lt;script&gt;" in text
    assert "No verdict" in text


def test_the_page_is_the_same_each_time(comparison: Comparison, tmp_path: Path) -> None:
    pages = [tmp_path / "one.html", tmp_path / "two.html"]
    for page in pages:
        write_comparison(comparison, 0.03, page)
    assert pages[0].read_bytes() == pages[1].read_bytes()
