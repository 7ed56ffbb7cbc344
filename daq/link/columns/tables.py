"""Values out of TOML tables, checked as they are taken, every fault one sentence.

A description is also read by the keeper, which may not import pydantic, so this is
standard library only. It must never guess and never turn one type into another.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from difflib import get_close_matches

from daq.errors import InputFault

_SHOWN_CHARACTERS = 40


class Table:
    """One TOML table whose keys are all known.

    Attributes:
        where: the file, as sentences name it.
        path: the table's own place in it, empty for the file itself.
    """

    def __init__(
        self, data: object, where: str, path: str, keys: Collection[str]
    ) -> None:
        """Take a table, and refuse keys that are not known.

        Raises:
            InputFault: it is no table, or holds an unknown key.
        """
        self.where = where
        self.path = path
        if not isinstance(data, Mapping):
            raise refusal(where, f"{path} is {shown(data)}; it must be a table")
        self._data: Mapping[str, object] = data
        for key in data:
            if key not in keys:
                near = [known for known in keys if key and known.startswith(f"{key}_")]
                near = near or get_close_matches(key, keys, n=1)
                hint = (
                    f"{near[0]} was probably meant"
                    if near
                    else f"known are {', '.join(keys)}; take it out"
                )
                raise self.fault(f"{self.named(key)} is not a known key; {hint}")

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def named(self, key: str) -> str:
        """A key as a person would name it."""
        return f"{self.path}.{key}" if self.path else key

    def fault(self, sentence: str) -> InputFault:
        """A fault of this file, in one sentence without its full stop."""
        return refusal(self.where, sentence)

    def wrong(self, key: str, rule: str) -> InputFault:
        """A fault of the value at ``key`` and what is allowed instead."""
        if key not in self._data:
            return self.fault(f"{self.named(key)} is missing; {rule}")
        value = shown(self._data[key])
        return self.fault(f"{self.named(key)} is {value}; {rule}")

    def text(self, key: str, rule: str = "", *, most: int = 80) -> str:
        """Text that is not empty.

        Raises:
            InputFault: the key is missing, no text, empty or too long.
        """
        value = self._data.get(key)
        if not isinstance(value, str) or not 0 < len(value) <= most:
            rule = rule or f"it must be text in quotes, 1 to {most} characters"
            raise self.wrong(key, rule)
        return value

    def choice(self, key: str, allowed: Sequence[str]) -> str:
        """One of some words.

        Raises:
            InputFault: anything else.
        """
        value = self._data.get(key)
        if not isinstance(value, str) or value not in allowed:
            raise self.wrong(key, f"it must be one of {', '.join(map(shown, allowed))}")
        return value

    def whole(self, key: str, low: int, high: int) -> int:
        """A whole number inside a range.

        Raises:
            InputFault: anything else.
        """
        value = self._data.get(key)
        if (
            isinstance(value, bool)
            or not isinstance(value, int)
            or not low <= value <= high
        ):
            raise self.wrong(key, f"it must be a whole number from {low} to {high}")
        return value

    def number(self, key: str, low: float, high: float) -> float:
        """A finite number inside a range.

        Raises:
            InputFault: anything else.
        """
        value = self._data.get(key)
        rule = f"it must be a number from {low:g} to {high:g}"
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(key, rule)
        # Compared before it is converted: a whole number may be too large to be.
        if not low <= value <= high or not math.isfinite(value):
            raise self.wrong(key, rule)
        return float(value)

    def flag(self, key: str) -> bool:
        """True or false.

        Raises:
            InputFault: anything else.
        """
        value = self._data.get(key)
        if not isinstance(value, bool):
            raise self.wrong(key, "it must be true or false")
        return value

    def texts(self, key: str, rule: str, *, most: int) -> tuple[str, ...]:
        """A list of texts, none of them empty.

        Raises:
            InputFault: anything else.
        """
        value = self._data.get(key)
        if not isinstance(value, list) or not 0 < len(value) <= most:
            raise self.wrong(key, rule)
        if not all(isinstance(one, str) and 0 < len(one) <= 40 for one in value):
            raise self.wrong(key, rule)
        return tuple(value)

    def table(self, key: str, keys: Collection[str]) -> "Table":
        """A table inside this one.

        Raises:
            InputFault: it is none, or holds an unknown key.
        """
        return Table(self._data.get(key), self.where, self.named(key), keys)

    def tables(self, key: str, keys: Collection[str]) -> "list[Table]":
        """A list of tables, numbered from 1 in sentences.

        Raises:
            InputFault: it is none, or one of them holds an unknown key.
        """
        value = self._data.get(key)
        if not isinstance(value, list) or not value:
            raise self.wrong(key, f"write one [[{key}]] table for each channel")
        return [
            Table(one, self.where, f"{self.named(key)} {number}", keys)
            for number, one in enumerate(value, 1)
        ]


def shown(value: object) -> str:
    """A value as TOML writes it, shortened; control characters escaped."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{escaped(value, _SHOWN_CHARACTERS)}"'
    try:
        return escaped(str(value), _SHOWN_CHARACTERS)
    except (ValueError, RecursionError):  # too many digits, or too deep, to be text
        return "too much to show"


def escaped(text: str, most: int) -> str:
    """Text in one printable line, cut to ``most`` characters or a few more."""
    safe = [c if c.isprintable() else _escape(c) for c in text[:most]]
    return "".join(safe) + ("..." if len(text) > most else "")


def _escape(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")


def refusal(where: str, sentence: str) -> InputFault:
    """The fault that a sentence becomes; no line breaks or terminal codes get out."""
    return InputFault(
        "".join(c if c.isprintable() else "?" for c in f"{where}: {sentence}.")
    )
