"""What a person types at a terminal meanwhile, line by line, without waiting for it."""

import sys
import threading
from queue import Empty, SimpleQueue
from typing import Final

from daq.errors import InputFault

LEAVE: Final = ("q", "quit")
BACK: Final = ("u", "undo")


class Typed:
    """Lines of the terminal or of a script; the end of them leaves."""

    def __init__(self) -> None:
        self._lines: SimpleQueue[str] = SimpleQueue()
        self._held: str | None = None

    def listen(self) -> None:
        """Begin to take lines, in a thread of its own."""
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        for line in sys.stdin:
            self._lines.put(line.strip())
        self._lines.put(LEAVE[0])

    def next_word(self, *, taking: bool) -> str | None:
        """What was typed next, in small letters; None where nothing was, or it waits.

        At a terminal an Enter while a reading is taken is one too many, and would take
        the next step unseen: it is dropped. A script's lines wait for their step.

        Args:
            taking: whether a reading is being taken.
        """
        if self._held is None:
            try:
                self._held = self._lines.get_nowait().lower()
            except Empty:
                return None
        at_once = self._held in (*LEAVE, *BACK)
        if taking and not (at_once and sys.stdin.isatty()):
            if sys.stdin.isatty():
                self._held = None
            return None
        word, self._held = self._held, None
        return word

    def leave_or_back(self) -> str:
        """Wait for one of the words that leave or take back."""
        while (word := self._lines.get().lower()) not in (*LEAVE, *BACK):
            pass
        return word


def number(word: str) -> float:
    """A figure as a person types it.

    Raises:
        InputFault: it is none.
    """
    try:
        return float(word.removesuffix("v").removesuffix("a").removesuffix("m").strip())
    except ValueError:
        hint = " Write decimals with a point." if "," in word else ""
        raise InputFault(f'"{word[:20]}" is no figure.{hint}') from None
