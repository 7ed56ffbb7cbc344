"""Drawings beside the cautions: one for each sentence, and each differs."""

import pytest
from PySide6.QtGui import QImage
from pytestqt.qtbot import QtBot

from tests.ui.desktop.model.test_spinning import Bench, faulty
from ui.cautions import HANDS
from ui.desktop import theme
from ui.desktop.app import made_application
from ui.desktop.drawings import (
    DRAWINGS,
    FIELD,
    Drawing,
    drawing_of,
    drawing_of_hand,
)


def picture(qtbot: QtBot, name: str, size: int = 48) -> QImage:
    made_application()
    drawn = Drawing(name, size)
    qtbot.addWidget(drawn)
    return drawn.grab().toImage()


def test_every_item_of_the_checklist_has_a_drawing() -> None:
    items = Bench(faulty(), own=False).model.checklist.items
    assert len(items) >= 9
    for item in items:
        assert drawing_of(item.name), item.name
    assert drawing_of("bare")
    assert drawing_of("timed plug") == "timed"
    assert drawing_of("something new") == ""


def test_every_hand_that_is_asked_for_has_a_drawing() -> None:
    for what, sentence in HANDS.items():
        assert drawing_of_hand(sentence) == what
    assert drawing_of_hand("Ready.") == ""


def test_no_two_drawings_look_alike(qtbot: QtBot) -> None:
    pictures = {name: picture(qtbot, name) for name in DRAWINGS}
    blank = picture(qtbot, "")
    for name, drawn in pictures.items():
        assert drawn != blank, name
        assert [n for n, other in pictures.items() if other == drawn] == [name]


@pytest.mark.parametrize("name", sorted(DRAWINGS))
def test_a_drawing_stays_on_its_field(name: str) -> None:
    for kind, numbers in DRAWINGS[name]:
        if kind in ("ring", "dot", "arc"):
            x, y, radius, *_ = numbers
            corners = [x - radius, x + radius, y - radius, y + radius]
        elif kind == "box":
            x, y, wide, high = numbers
            corners = [x, y, x + wide, y + high]
        else:
            corners = list(numbers)
        assert min(corners) >= 0
        assert max(corners) <= FIELD


def test_the_ink_is_that_of_the_scheme(qtbot: QtBot) -> None:
    light = picture(qtbot, "guard")
    theme.use("dark")
    try:
        assert picture(qtbot, "guard") != light
    finally:
        theme.use()
        made_application()
