"""The checklist in the terminal: item by item, by a person, or no spin."""

from daq.errors import GramwattError
from ui.cautions import CAUTION, CHECKLIST
from ui.cli.text import wrapped

YES = ("y", "yes")


def ask() -> list[str]:
    """Show the cautions and have each item acknowledged.

    Returns:
        Names of the acknowledged items, all of them.

    Raises:
        GramwattError: one was not, or nobody is there to answer.
    """
    print()
    print(wrapped(CAUTION))
    print("\nBefore the motor turns; answer yes to each, anything else ends here.\n")
    done = []
    for number, (name, sentence) in enumerate(CHECKLIST, start=1):
        _ask_one(f"  {number}/{len(CHECKLIST)}  {sentence} [yes/no] ", name)
        done.append(name)
    return done


def confirm(question: str, name: str) -> None:
    """One question that needs a yes.

    Raises:
        GramwattError: the answer was something else.
    """
    _ask_one(f"  {question} [yes/no] ", name)


def _ask_one(prompt: str, name: str) -> None:
    try:
        answer = input(prompt)
    except EOFError:
        print()
        raise GramwattError(
            f"Nobody answered the checklist (at: {name}), so nothing was armed. It "
            "has to be answered by a person at a terminal."
        ) from None
    if answer.strip().lower() not in YES:
        raise GramwattError(f"The checklist ended at: {name}. Nothing was armed.")
