"""Values out of plain JSON objects, checked as they are taken.

The keeper gets its plan and its limits as JSON and may not import pydantic.
This module must never guess: a missing, extra or ill-typed field is a fault
with the place named.
"""

import math
from collections.abc import Collection, Mapping

from daq.errors import InputFault


def table(data: object, where: str, keys: Collection[str]) -> Mapping[str, object]:
    """Return ``data`` as a mapping that holds exactly ``keys``.

    Raises:
        InputFault: it is no mapping, or a key is missing or unknown.
    """
    if not isinstance(data, Mapping):
        raise InputFault(f"{where} must be an object with named fields.")
    for key in keys:
        if key not in data:
            raise InputFault(f"{where}: {key} is missing.")
    for key in data:
        if key not in keys:
            raise InputFault(f"{where}: {key!r} is not a field this version knows.")
    return data


def number(data: Mapping[str, object], key: str, where: str) -> float:
    """Return a finite number; booleans are none.

    Raises:
        InputFault: the field holds anything else.
    """
    value = data[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputFault(f"{where}: {key} is {value!r}; it must be a number.")
    try:
        as_float = float(value)
    except OverflowError:
        as_float = math.inf
    if not math.isfinite(as_float):
        raise InputFault(f"{where}: {key} is {value!r}; it must be finite.")
    return as_float


def whole(data: Mapping[str, object], key: str, where: str) -> int:
    """Return a whole number; booleans are none.

    Raises:
        InputFault: the field holds anything else.
    """
    value = data[key]
    if isinstance(value, bool) or not isinstance(value, int):
        raise InputFault(f"{where}: {key} is {value!r}; it must be a whole number.")
    return value


def text(data: Mapping[str, object], key: str, where: str) -> str:
    """Return a string.

    Raises:
        InputFault: the field holds anything else.
    """
    value = data[key]
    if not isinstance(value, str):
        raise InputFault(f"{where}: {key} is {value!r}; it must be text.")
    return value


def rows(data: Mapping[str, object], key: str, where: str) -> list[object]:
    """Return a list.

    Raises:
        InputFault: the field holds anything else.
    """
    value = data[key]
    if not isinstance(value, list):
        raise InputFault(f"{where}: {key} must be a list.")
    return value
