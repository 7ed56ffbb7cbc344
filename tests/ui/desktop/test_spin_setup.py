"""Choosing what to spin: from the lists, from a file, and thinking better of it."""

from pathlib import Path

import pytest
from PySide6.QtWidgets import QComboBox
from pytestqt.qtbot import QtBot

from daq.machine_clock import MachineClock
from ui.articles import example_article
from ui.desktop.app import made_application
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.model.setup import Setup
from ui.desktop.spin_setup import ANOTHER, SetupPanel


@pytest.fixture
def panel(qtbot: QtBot, tmp_path: Path) -> SetupPanel:
    made_application()
    made = SetupPanel(Desk(MachineClock()), Setup(Memory(tmp_path / "kept")))
    qtbot.addWidget(made)
    return made


def chosen(box: QComboBox, key: str) -> None:
    """As a person does: it is shown, then it is told."""
    index = box.findData(key)
    assert index >= 0
    box.setCurrentIndex(index)
    box.activated.emit(index)


def test_another_protocol_is_chosen_and_the_first_again(panel: SetupPanel) -> None:
    first = panel.protocol.currentData()
    chosen(panel.protocol, "glide")
    assert panel._setup.protocol == "glide"
    assert panel._setup.order is not None
    chosen(panel.protocol, first)
    assert panel._setup.protocol == first


def test_a_load_by_hand_is_walked_in_a_terminal(panel: SetupPanel) -> None:
    chosen(panel.protocol, "plug-load")
    assert panel._setup.order is None
    assert "gramwatt spin plug-load" in panel._setup.fault


def test_a_file_is_chosen_kept_on_the_shelf_and_left_for_the_example(
    panel: SetupPanel, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(example_article().read_text("utf-8"), "utf-8")
    monkeypatch.setattr(panel, "_file", lambda what: str(file))
    chosen(panel.article, ANOTHER)
    assert panel._setup.article == str(file)
    assert panel.article.currentData() == str(file)
    assert panel._setup.memory.texts("articles") == [str(file)]
    chosen(panel.article, "")  # the example
    assert panel._setup.article == ""
    assert panel._setup.fault == ""


def test_no_file_after_all_leaves_what_was_chosen(
    panel: SetupPanel, monkeypatch: pytest.MonkeyPatch
) -> None:
    chosen(panel.protocol, "glide")
    monkeypatch.setattr(panel, "_file", lambda what: "")
    chosen(panel.protocol, ANOTHER)
    assert panel._setup.protocol == "glide"
    assert panel.protocol.currentData() == "glide"
