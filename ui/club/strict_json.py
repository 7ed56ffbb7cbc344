"""JSON from a stranger: an object, no key twice, no NaN, not nested without end."""

from __future__ import annotations

import json
from typing import Any, Final

from daq.errors import InputFault

#: So deep nothing nests that gramwatt writes.
DEEPEST: Final = 40


def read_object(data: bytes, where: str) -> dict[str, Any]:
    """A JSON object.

    Args:
        data: its text, UTF-8.
        where: what it is, for the sentence.

    Raises:
        InputFault: it is none.
    """
    content = read_json(data, where)
    if not isinstance(content, dict):
        raise InputFault(f"{where} is no JSON object")
    return content


def read_json(data: bytes, where: str) -> Any:
    """Any JSON value.

    Raises:
        InputFault: it is none.
    """
    try:
        content = json.loads(
            data.decode("utf-8"),
            parse_constant=_no_constant,
            parse_float=_finite,
            parse_int=_whole,
            object_pairs_hook=_each_once,
        )
    except UnicodeDecodeError:
        raise InputFault(f"{where} is not UTF-8 text") from None
    except RecursionError:
        raise InputFault(f"{where} nests without end") from None
    except ValueError as fault:
        known = isinstance(fault, _Unwanted)
        raise InputFault(
            f"{where} {fault}" if known else f"{where} is no JSON"
        ) from None
    if _deeper_than(content, DEEPEST):
        raise InputFault(f"{where} nests without end")
    return content


class _Unwanted(ValueError):
    """JSON that could be read and must not be."""


def _no_constant(name: str) -> float:
    raise _Unwanted(f"has a {name}, which is no number")


def _finite(text: str) -> float:
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise _Unwanted("has a number without bounds")
    return value


def _whole(text: str) -> int:
    """A whole number that a float holds too: it is compared with one."""
    _finite(text)
    return int(text)


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _Unwanted("has a key twice")
    return found


def _deeper_than(content: object, depth: int) -> bool:
    """Whether it nests deeper; never deeper than that itself."""
    if depth == 0:
        return True
    if isinstance(content, dict):
        return any(_deeper_than(each, depth - 1) for each in content.values())
    if isinstance(content, list):
        return any(_deeper_than(each, depth - 1) for each in content)
    return False
