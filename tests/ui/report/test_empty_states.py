"""Whatever is missing from a run, its page is whole and says what is missing."""

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from daq.records.folder import DESCRIPTOR
from daq.records.wirelog import NAME
from tests.runs import write_run
from tests.ui.report.built import (
    again,
    demo_spin,
    with_header,
    without_channel,
)
from tests.ui.report.reading import Read, read
from tests.virtual import VirtualSpin
from ui.cli.plan import chosen_article
from ui.report.page import render
from ui.results import Results, analyse_folder


def shown(results: Results) -> Read:
    """The page, whole, and without a trace of the program's own words."""
    page = read(render(results))
    text = page.text()
    # "None of 6450 readings" is English.
    leaked = r"\b(None(?! of \d)|nan|NaN|inf|Traceback|undefined)\b"
    assert not re.search(leaked, text)
    assert text.count("Indoor quad, motor A") + text.count("Article not on record") > 0
    assert [w for w in page.within("h3") if w == "Limits in force"]
    return page


@pytest.fixture
def copy(folder: Path, tmp_path: Path) -> Path:
    """The run's folder, free to be damaged."""
    return Path(shutil.copytree(folder, tmp_path / "copy"))


def unsealed(folder: Path) -> None:
    """As the keeper leaves it when it is killed."""
    path = folder / DESCRIPTOR
    content = json.loads(path.read_text(encoding="utf-8"))
    content["gramwatt"] = {"sealed": False, "simulated": True}
    del content["resources"][0]["hash"]
    path.write_text(json.dumps(content), encoding="utf-8")


def cut_at(folder: Path, mark: bytes, *, more: int = 0) -> None:
    """The log up to some words in it, and a little further."""
    log = folder / NAME
    data = log.read_bytes()
    log.write_bytes(data[: data.index(mark) + more])


def short_spin(tmp_path: Path, act: Callable[[VirtualSpin], None]) -> Results:
    """A spin in which something happens."""
    virtual = demo_spin()
    act(virtual)
    virtual.run()
    article = chosen_article(None).to_dict()
    return analyse_folder(write_run(virtual, tmp_path, article=article))


def test_a_stopped_run_says_when_and_keeps_what_it_has(tmp_path: Path) -> None:
    def stop(virtual: VirtualSpin) -> None:
        virtual.at_walk(6.5, lambda spin: spin.order(order="stop", why="Enough."))

    page = shown(short_spin(tmp_path, stop))
    text = page.text()
    assert "How it ended Stopped Why Enough. Are the data good Partial" in text
    assert "The stop What acted A person" in text
    assert "stopped" in page.within("svg")
    assert any("; stopped at 6." in words for words in page.within("desc"))


def test_a_tripped_run_says_why_and_what_to_look_at(tmp_path: Path) -> None:
    def open_the_loop(virtual: VirtualSpin) -> None:
        virtual.at_walk(6.5, lambda spin: setattr(spin.device, "stop_loop_open", True))

    page = shown(short_spin(tmp_path, open_the_loop))
    assert "How it ended Tripped Why" in page.text()
    assert "tripped" in page.within("svg")
    assert "var(--danger)" in "".join(str(a.get("style")) for _, a in page.tags)


def test_without_a_sample_there_is_nothing_to_find(results: Results) -> None:
    run = replace(results.run, streams=(), stand=None, decisions=())
    text = shown(replace(results, run=run, analysis=None)).text()
    assert "The stand never sent a sample, so there is nothing to find." in text
    assert "no reading of thrust, current or voltage to draw" in text
    assert "The stand never said who it was." in text
    assert "never begun, so nothing came near" in text
    assert "No proof is on record." in text
    assert "Nothing was sampled, so no figure was made." in text


def test_killed_before_the_first_dwell(copy: Path) -> None:
    unsealed(copy)
    cut_at(copy, b'"note":"segment","index":2,')
    page = shown(analyse_folder(copy))
    text = page.text()
    assert "The run has no dwell that lasted long enough to settle" in text
    assert "How it ended No end on record" in text
    assert "The record Not sealed" in text
    assert "No plateau." in text
    assert "there is no point to draw" in text
    # The run against time is there all the same.
    assert page.within("figcaption") == ["The run against time"] * 2


def test_a_single_plateau_gives_points_and_no_curve(copy: Path) -> None:
    unsealed(copy)
    cut_at(copy, b'"note":"segment","index":4,', more=500)
    results = analyse_folder(copy)
    assert results.analysis is not None
    assert len(results.analysis.plateaus) == 1
    page = shown(results)
    assert "No curve: too few levels, or no model is near the points." in page.text()
    assert "Thrust against throttle" in page.within("figcaption")


@pytest.mark.parametrize(
    ("channel", "missing"),
    [
        ("speed", ["Thrust coefficient C_T against speed"]),
        ("voltage", ["Electrical power against throttle"]),
        ("thrust", ["Thrust against throttle", "Specific thrust against thrust"]),
    ],
)
def test_a_missing_channel_is_named_and_costs_only_its_charts(
    results: Results, channel: str, missing: list[str]
) -> None:
    page = shown(without_channel(results, channel))
    text = page.text()
    for chart in missing:
        assert f"Not drawn. {chart}: needs" in text
        assert chart not in page.within("figcaption")
    assert "Current against throttle" in page.within("figcaption")


def test_without_an_article_the_run_still_has_its_curves(results: Results) -> None:
    page = shown(with_header(results, article=None))
    assert page.within("h1") == ["Article not on record"]
    assert "The record does not say what was tested." in page.text()
    assert "Thrust against throttle" in page.within("figcaption")


def test_a_damaged_log_is_read_around_its_damage(copy: Path) -> None:
    log = copy / NAME
    data = bytearray(log.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 300] = bytes(300)
    log.write_bytes(data)
    results = analyse_folder(copy)
    assert results.run.damage.places >= 1
    text = shown(results).text()
    assert "The record Changed The wire log is not the one that was sealed." in text
    assert f"{results.run.damage.bytes} bytes in" in text
    assert "Hash at the seal sha256:" in text


def test_lost_frames_are_counted(results: Results) -> None:
    health = replace(results.run.health, lost=40)
    text = shown(again(replace(results.run, health=health, drops=7))).text()
    assert "Frames lost, by their numbers 40 (" in text
    assert "Frames damaged on the wire 7" in text


def test_a_header_full_of_nonsense_still_gives_a_page(results: Results) -> None:
    nonsense = with_header(
        results, article=None, task=7, utc=5, versions=[1], simulated="yes"
    )
    run = replace(nonsense.run, outcome={"ended": 3, "cause": None, "data": []})
    text = shown(replace(nonsense, run=run)).text()
    assert "Protocol not on record Date not on record" in text
    assert "The record gives no limits that can be read." in text
    assert "Recorded by not on record" in text


def test_a_folder_that_is_gone_still_gives_a_page(
    results: Results, tmp_path: Path
) -> None:
    run = replace(results.run, folder=tmp_path / "gone")
    assert "Wire log, hash cannot be read" in shown(replace(results, run=run)).text()
