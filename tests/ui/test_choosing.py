"""Two plugs and two packs held against each other, plugged in again in between."""

from pathlib import Path

import pytest

from daq.stand.plant.drawn import drawn, with_gains
from daq.stand.plant.truth import Truth, shipped_truth
from tests.mountings import article
from tests.protocols.test_load_by_hand import LIMITS, handed
from tests.protocols.test_load_by_hand import plan as by_hand
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.choosing import Chosen
from ui.compared import chosen_words, value_words
from ui.comparing import compare_folders
from ui.report.comparison import write_comparison

pytestmark = pytest.mark.slow  # six runs, to be told apart

LEVELS = (0.25, 0.5, 0.75, 0.95)
SEED = 3


def stand(plug_ohm: float, pack_ohm: float = 0.066, mating_rel: float = 0.03) -> Truth:
    """The rough stand, its scale factors as its seed draws them, with other parts."""
    rough = with_gains(shipped_truth("rough"), SEED)
    assert rough.scatter is not None
    return rough.model_copy(
        update={
            "leads": rough.leads.model_copy(update={"plug_resistance_ohm": plug_ohm}),
            "pack": rough.pack.model_copy(update={"resistance_ohm": pack_ohm}),
            "scatter": rough.scatter.model_copy(update={"mating_rel": mating_rel}),
            "gusts": None,
        }
    )


def mated(folder: Path, name: str, number: int, truth: Truth, **parts: object) -> Path:
    """One run of an article whose plug was put together for the so-manieth time."""
    again = drawn(truth, None, None, SEED, number)
    walked = spin(task(walked=plan(LEVELS)), seed=100 + number, truth=again)
    walked.run()
    begun = {"utc": f"2026-05-09T15:{number:02d}:00+00:00"}
    return write_run(walked, folder, article={**article(name), **parts}, more=begun)


def plug(name: str) -> dict[str, object]:
    return {"plug": {"name": name, "rated_a": 12}}


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Path]]:
    """Plug A twice, a plug of twice its resistance twice, one like A twice."""
    folder = tmp_path_factory.mktemp("plugs")
    parts = {"plug A": 0.006, "plug B": 0.012, "plug C": 0.006}
    return {
        name: [
            mated(folder, name, 2 * place + turn, stand(ohm), **plug(name))
            for turn in (0, 1)
        ]
        for place, (name, ohm) in enumerate(parts.items())
    }


def asked(folders: list[Path], words: str) -> Chosen:
    found = [one for one in compare_folders(folders).chosen if words in one.question]
    assert len(found) == 1
    return found[0]


def test_the_plug_of_half_the_resistance_is_told(runs: dict[str, list[Path]]) -> None:
    chosen = asked(runs["plug B"] + runs["plug A"], "plug that drops least")
    assert chosen_words(chosen) == "Which has the plug that drops least: plug A."
    by_name = {one.article: one for one in chosen.candidates}
    for name, ohm in (("plug A", 0.00625), ("plug B", 0.01225)):
        low, high = (float(one[0]) for one in by_name[name].shown.interval())
        assert low < ohm < high  # with the lead between the sense wires
        # What plugging in again does is in the interval, not only what was read.
        narrow = float(by_name[name].value.half_width()[0])
        assert (high - low) / 2 > 1.2 * narrow
    assert "milliohm" in value_words(chosen, chosen.candidates[0])


def test_two_plugs_alike_cannot_be_told_apart(runs: dict[str, list[Path]]) -> None:
    chosen = asked(runs["plug A"] + runs["plug C"], "plug that drops least")
    assert "cannot be told from plug" in chosen_words(chosen)


def test_plugged_in_once_each_nothing_can_be_told(runs: dict[str, list[Path]]) -> None:
    chosen = asked([runs["plug A"][0], runs["plug B"][0]], "plug that drops least")
    assert chosen_words(chosen).endswith(
        "but nothing was plugged in again, so it cannot be told."
    )


def test_of_one_and_the_same_part_nothing_is_asked(runs: dict[str, list[Path]]) -> None:
    questions = [one.question for one in compare_folders(runs["plug A"]).chosen]
    assert not [words for words in questions if "plug" in words or "pack" in words]


def test_the_pack_of_less_resistance_is_told(tmp_path: Path) -> None:
    packs = {"pack A": 0.066, "pack B": 0.120}
    folders = [
        mated(
            tmp_path,
            name,
            10 * place + turn,
            stand(0.006, ohm),
            pack={"name": name, "cells": 3, "capacity_mah": 450},
        )
        for place, (name, ohm) in enumerate(packs.items())
        for turn in (0, 1)
    ]
    chosen = asked(folders, "least resistance from pack to bus")
    assert chosen_words(chosen).endswith("from pack to bus: pack A.")


def test_plugs_are_compared_by_loads_that_were_switched_by_hand(tmp_path: Path) -> None:
    folders = []
    for place, (name, ohm) in enumerate({"plug A": 0.006, "plug B": 0.012}.items()):
        for number in (2 * place, 2 * place + 1):
            again = drawn(stand(ohm), None, None, SEED, number)
            begun = spin(task(LIMITS, by_hand()), seed=100 + number, truth=again)
            walked = handed(begun, (3.0, 1.5, 1.0))  # to what the amplifiers can read
            more = {"utc": f"2026-05-09T15:{number:02d}:00+00:00"}
            tested = {**article(name), **plug(name)}
            folders.append(write_run(walked, tmp_path, article=tested, more=more))
    chosen = asked(folders, "plug that drops least")
    assert chosen_words(chosen) == "Which has the plug that drops least: plug A."
    page = tmp_path / "compared.html"
    write_comparison(compare_folders(folders), 0.05, page)
    assert "plug that drops least: plug A" in page.read_text("utf-8")
