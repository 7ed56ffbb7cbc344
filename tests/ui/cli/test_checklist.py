"""The checklist at a terminal: wrapped, and a yes to each or no spin."""

import io
import sys

import pytest
from typing_extensions import override

from daq.errors import GramwattError
from protocols.recipe import expand, load_recipe
from protocols.task import Task
from tests.spins import LIMITS, NONCE
from ui.cautions import HANDS, START, checklist_for
from ui.cli import checklist

ITEMS = checklist_for(Task(expand(load_recipe("staircase")), LIMITS, NONCE))


class Typed(io.StringIO):
    """A terminal at which somebody types."""

    @override
    def isatty(self) -> bool:
        return True


def type_in(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr(sys, "stdin", Typed(text))


def test_every_item_wraps_beside_its_number(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    type_in(monkeypatch, "yes\n" * (len(ITEMS) + 1))
    assert checklist.ask(ITEMS) == [item.name for item in ITEMS]
    checklist.confirm(START)
    for sentence in HANDS.values():
        checklist.tell_hand(sentence)
    said = capsys.readouterr()
    assert said.out == ""
    # A prompt ends its line with a blank, and the answer is typed behind it.
    lines = [line for text in said.err.split("] ") for line in text.splitlines()]
    assert max(len(line) for line in lines) <= 80
    asked = [line for line in lines if line.endswith("[yes/no")]
    assert max(len(line) for line in asked) + len("]") < 80
    assert said.err.count("[yes/no] ") == len(ITEMS) + 1


@pytest.mark.parametrize("answer", ["no\n", "", "what\nperhaps\nhm\n"])
def test_anything_but_a_yes_ends_it(
    monkeypatch: pytest.MonkeyPatch, answer: str
) -> None:
    type_in(monkeypatch, answer)
    with pytest.raises(GramwattError, match="Nothing was armed"):
        checklist.confirm(ITEMS[0].sentence)


def test_nobody_there_is_no_yes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("yes\n"))
    with pytest.raises(GramwattError, match="a person at a terminal"):
        checklist.confirm(ITEMS[0].sentence)
