"""Small parts: rows that flow, lists that choose, sentences that are no danger."""

import pytest
from PySide6.QtWidgets import QApplication, QPushButton, QSizePolicy, QWidget
from pytestqt.qtbot import QtBot

from ui.desktop import theme
from ui.desktop.app import made_application
from ui.desktop.flow import Flow
from ui.desktop.parts import ABNORMAL, Choice, Fault, Mark, Upright, column, label
from ui.desktop.plots import AgoAxis, SecondsAxis


@pytest.fixture(autouse=True)
def _app() -> None:
    made_application()


def row(qtbot: QtBot, wide: int, *parts: QWidget) -> QWidget:
    holder = QWidget()
    holder.setLayout(column(Flow(*parts)))
    qtbot.addWidget(holder)
    holder.resize(wide, 400)
    holder.show()
    qtbot.waitExposed(holder)
    return holder


def test_what_fits_is_beside_each_other_and_what_does_not_is_below(
    qtbot: QtBot,
) -> None:
    parts = [QPushButton(f"Button {n}") for n in range(4)]
    whole = sum(part.sizeHint().width() for part in parts) + 3 * theme.UNIT
    holder = row(qtbot, whole, *parts)
    assert len({part.y() for part in parts}) == 1
    holder.resize(whole - 10, 400)
    QApplication.processEvents()
    assert [part.y() > parts[0].y() for part in parts] == [False, False, False, True]
    for part in parts:
        assert part.x() + part.width() <= holder.width()
        assert part.width() >= part.sizeHint().width()
    holder.resize(holder.minimumSizeHint().width(), 400)
    QApplication.processEvents()
    assert len({part.y() for part in parts}) == 4


def test_what_likes_to_be_wide_takes_what_is_left(qtbot: QtBot) -> None:
    wide, button = QWidget(), QPushButton("Look")
    wide.setMinimumWidth(50)
    wide.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
    holder = row(qtbot, 500, wide, button)
    assert holder.width() == 500
    assert wide.width() == 500 - button.width() - theme.UNIT
    assert button.x() + button.width() == 500


def test_what_is_hidden_takes_no_room(qtbot: QtBot) -> None:
    first, second, third = (QPushButton(name) for name in "abc")
    second.setVisible(False)
    holder = row(qtbot, 500, first, second, third)
    assert holder.width() == 500
    assert third.x() == first.width() + theme.UNIT


def test_a_list_cuts_a_long_name_and_tells_it_whole(qtbot: QtBot) -> None:
    box = Choice("Article")
    qtbot.addWidget(box)
    name = "<b>A name</b> that goes on and on, as a builder wrote it"
    box.addItem("short")
    box.addItem(name)
    box.setCurrentIndex(1)
    assert box.minimumSizeHint().width() < box.fontMetrics().horizontalAdvance(name)
    assert "&lt;b&gt;A name" in box.toolTip()  # a stranger's text stays text
    assert box.accessibleName() == "Article"


def test_a_fault_is_abnormal_and_no_danger(qtbot: QtBot) -> None:
    told = Fault()
    qtbot.addWidget(told)
    assert told.isHidden()
    told.tell("The load is 1e99; it must be 10 to 100000.")
    assert not told.isHidden()
    assert [mark.meaning for mark in told.findChildren(Mark)] == [ABNORMAL]
    told.tell("")
    assert told.isHidden()


def test_what_scrolls_is_never_cut_at_a_side(qtbot: QtBot) -> None:
    part = QWidget()
    part.setLayout(
        column(label("a line that does not wrap, however long", wraps=False))
    )
    scroll = Upright(part, "A part")
    qtbot.addWidget(scroll)
    before = scroll.minimumSizeHint().width()
    assert before >= part.minimumSizeHint().width()
    layout = part.layout()
    assert layout is not None
    layout.addWidget(label("and another one that is " + 9 * "longer ", wraps=False))
    assert scroll.minimumSizeHint().width() > before


def test_seconds_wear_their_unit_once(qtbot: QtBot) -> None:
    axis = SecondsAxis("bottom")
    axis.setRange(0, 32)
    axis.tickValues(0, 32, 400)
    widest = axis._widest
    assert axis.tickStrings([0, 10, 20, 30], 1, widest) == ["0", "10", "20", "30 s"]
    assert axis.tickStrings([5, 15], 1, widest / 2) == ["5", "15"]
    ago = AgoAxis("bottom")
    ago.setRange(-30, 0)
    ago.tickValues(-30, 0, 400)
    told = ago.tickStrings([-20, -10], 1, ago._widest)
    assert told == ["20", "10 s ago"]
