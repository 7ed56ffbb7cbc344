"""A part swapped for another and back: told apart by what it is swapped for."""

from pathlib import Path

import pytest

from tests.swaps import swapped
from ui.compared import chosen_words, noise_words
from ui.comparing import Comparison, compare_folders
from ui.report.comparison import write_comparison

pytestmark = pytest.mark.slow


def held_apart(folder: Path, what: str) -> tuple[Comparison, str]:
    """A swap compared, and its page as text."""
    comparison = compare_folders(swapped(folder, what))
    page = folder / "page.html"
    write_comparison(comparison, 0.03, page)
    return comparison, page.read_text("utf-8")


def test_a_larger_plug_drops_less_though_thrust_cannot_tell(tmp_path: Path) -> None:
    comparison, page = held_apart(tmp_path, "plug")
    first = comparison.chosen[0]
    assert first.part == "plug"
    assert chosen_words(first) == (
        "Which has the plug that drops least: Indoor quad, larger plug."
    )
    verdicts = [
        difference.verdict
        for compared in comparison.compared.values()
        for difference in compared.differences
    ]
    assert verdicts == ["cannot tell", "cannot tell"]
    assert page.index("drops least") < page.index("cannot be told apart")


def test_a_tired_pack_is_told_by_its_pulses_alone(tmp_path: Path) -> None:
    comparison, page = held_apart(tmp_path, "pack")
    told = [chosen_words(chosen) for chosen in comparison.chosen]
    assert "Which has the pack that loses least in a punch: Indoor quad, new pack." in (
        told
    )
    # No curve of thrust comes of pulses: a remark, and no reason to refuse.
    assert "Not compared in thrust" in page.partition("What must be known")[2]
    assert "Not compared in thrust" not in page.partition("What must be known")[0]


def test_a_capacitor_is_told_by_its_ripple_on_its_band_alone(tmp_path: Path) -> None:
    comparison, page = held_apart(tmp_path, "capacitor")
    first = noise_words(comparison)[0]
    assert first.startswith("Indoor quad, without capacitor has more ripple (rms) than")
    assert first.endswith("between 1 kHz and 50 kHz only.")
    assert "Nothing faster than 50 kHz is seen as itself" in page
    assert "Bus voltage in the burst" in page
    assert "Dark: Indoor quad, with capacitor. Light: Indoor quad, without" in page


def test_the_same_capacitor_twice_cannot_be_told_apart(tmp_path: Path) -> None:
    comparison = compare_folders(swapped(tmp_path, "same capacitor"))
    assert all("cannot be told apart" in words for words in noise_words(comparison))
