"""Runs held against each other in the window, and the mark of hover."""

from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from tests.mountings import taking_turns
from ui.desktop.curves_compare import ComparePanel
from ui.desktop.model.held import Held, hold, marks

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return taking_turns(tmp_path_factory.mktemp("runs"))


@pytest.fixture(scope="module")
def held(folders: list[Path]) -> Held:
    return hold(folders)


def test_the_window_tells_what_the_command_tells(held: Held) -> None:
    said = " ".join(text for text, _ in held.told)
    assert "motor B gave more thrust than motor A" in said
    assert "Which punches hardest: motor B." in said
    assert "Each article is one specimen" in said
    assert held.weight_g == 180.0


def test_the_mark_of_hover_moves_with_the_weight(
    held: Held, folders: list[Path]
) -> None:
    light, words = marks(held, 180.0)
    heavy, _ = marks(held, 240.0)
    assert [mark.folder.name for mark in light] == [
        folder.name for folder in (folders[0], folders[3], folders[1], folders[2])
    ]
    assert {round(mark.thrust_gf, 6) for mark in light} == {45.0}
    assert {round(mark.thrust_gf, 6) for mark in heavy} == {60.0}
    assert all(
        more.throttle_percent > less.throttle_percent
        for less, more in zip(light, heavy, strict=True)
    )
    assert "hovers at" in words[0][0]
    assert "min" in words[0][0]


def test_a_weight_that_nothing_lifts_is_said(held: Held) -> None:
    found, words = marks(held, 9000.0)
    assert found == ()
    assert all("outside of what it shows" in text for text, _ in words)


def test_what_cannot_be_compared_is_a_sentence(folders: list[Path]) -> None:
    refused = hold([folders[0], folders[0]])
    assert "named twice" in refused.told[0][0]
    assert refused.flown == {}


def test_the_panel_forgets_what_was_said_of_other_runs(
    qtbot: QtBot, held: Held, folders: list[Path]
) -> None:
    panel = ComparePanel()
    qtbot.addWidget(panel)
    panel.show_folders(folders[:1])
    assert not panel.compare.isEnabled()
    panel.show_folders(folders)
    assert panel.compare.isEnabled()
    with qtbot.waitSignal(panel.weighed) as weighed:
        panel.show_held(held, folders)
    assert weighed.args == [180.0]
    before: Held | None = panel.held
    assert before is held
    panel.show_folders(folders[:2])
    assert panel.held is None
    assert panel.weight.isHidden()
    # And what comes late, of runs that are no longer drawn, is not shown.
    panel.show_held(held, folders)
    assert panel.held is None


def test_a_decimal_comma_is_taken_and_nonsense_is_told(
    qtbot: QtBot, held: Held, folders: list[Path]
) -> None:
    panel = ComparePanel()
    qtbot.addWidget(panel)
    panel.show_folders(folders)
    panel.show_held(held, folders)
    panel.weight.setText("212,5")
    with qtbot.waitSignal(panel.weighed) as weighed:
        panel.weight.editingFinished.emit()
    assert weighed.args == [212.5]
    panel.weight.setText("heavy")
    with qtbot.assertNotEmitted(panel.weighed):
        panel.weight.editingFinished.emit()
    assert not panel._fault.isHidden()
