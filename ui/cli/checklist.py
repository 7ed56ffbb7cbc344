"""The checklist in the terminal: item by item, by a person, or no spin.

Asked on standard error, so that standard output stays what was asked for.
"""

import sys
from collections.abc import Sequence

from daq.errors import GramwattError
from ui.cautions import CAUTION, Item
from ui.cli.text import beside, wrapped

YES = ("y", "yes")
NO = ("n", "no")
ASKED_AT_MOST = 3


def ask(items: Sequence[Item]) -> list[str]:
    """Show the cautions and have each item acknowledged.

    Returns:
        Names of the acknowledged items, all of them.

    Raises:
        GramwattError: one was not, or nobody is there to answer.
    """
    _tell("\n" + wrapped(CAUTION))
    _tell("\nBefore the motor turns; answer yes to each, no ends here.\n")
    for number, item in enumerate(items, start=1):
        confirm(item.sentence, f"  {number}/{len(items)}  ")
    return [item.name for item in items]


def tell_hand(sentence: str) -> None:
    """What a person is to do at the bench; the stand sees when it is done."""
    _tell("\n" + wrapped(sentence) + "\n")


def confirm(sentence: str, lead: str = "  ") -> None:
    """One sentence that needs a yes.

    Raises:
        GramwattError: the answer was no, or nobody is there to answer.
    """
    _needs_person()
    for _ in range(ASKED_AT_MOST):
        _tell(beside(lead, f"{sentence} [yes/no]"), end=" ")
        line = sys.stdin.readline()
        answer = line.strip().lower()
        if answer in YES:
            return
        if answer in NO or not line:
            break
        _tell("  Please answer yes or no.")
    raise GramwattError(f'You did not say yes to "{sentence}" Nothing was armed.')


def declare(sentence: str, words: str) -> None:
    """One sentence that needs more than a yes: these words, typed.

    Raises:
        GramwattError: they were not typed, or nobody is there to type them.
    """
    _needs_person()
    _tell("\n" + wrapped(sentence) + "\n")
    for _ in range(ASKED_AT_MOST):
        _tell(f'  Type "{words}" or no:', end=" ")
        line = sys.stdin.readline()
        answer = " ".join(line.lower().split()).strip(".\"'")
        if answer == words:
            return
        if answer in NO or not line:
            break
    raise GramwattError(f'You did not type "{words}". Nothing was armed.')


def _needs_person() -> None:
    if not sys.stdin.isatty():
        raise GramwattError(
            "The checklist has to be answered by a person at a terminal, and there is "
            "none here, so nothing was armed."
        )


def _tell(text: str, end: str = "\n") -> None:
    print(text, end=end, file=sys.stderr, flush=True)
