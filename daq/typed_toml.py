"""TOML files read into pydantic models, every fault one sentence.

A fault names the file and the key, says what is wrong and what is allowed, and
suggests the key that was probably meant. This module must never accept a key it
does not know or turn one type into another, and the keeper must never import it.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from daq.errors import InputFault

MAX_FILE_BYTES = 1_000_000


DECIMAL_COMMA = re.compile(rb"=\s*\d+,\d+\s*(#.*)?$", re.MULTILINE)


class Table(BaseModel):
    """One TOML table: its keys and no others, finite numbers, nothing converted."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False
    )


TableT = TypeVar("TableT", bound=Table)

# What is allowed, for each kind of fault, filled in from the fault's own figures.
_ALLOWED = {
    "greater_than": "it must be above {gt:g}",
    "greater_than_equal": "it must be at least {ge:g}",
    "less_than": "it must be below {lt:g}",
    "less_than_equal": "it must be at most {le:g}",
    "finite_number": "it must be a finite number",
    "float_type": "it must be a number",
    "int_type": "it must be a whole number",
    "string_type": "it must be text in quotes",
    "bool_type": "it must be true or false",
    "tuple_type": "it must be a list in square brackets",
    "model_type": "it must be a table of its own",
    "literal_error": "it must be {expected}",
    "too_short": "it needs at least {min_length} value(s)",
    "too_long": "it may have at most {max_length} values",
    "string_too_short": "it must not be empty",
    "string_too_long": "it may have at most {max_length} characters",
    "value_error": "{error}",
    "json_invalid": "it is no valid JSON",
}


def read_typed(source: Path | Traversable, model: type[TableT]) -> TableT:
    """Read and check one TOML file.

    Args:
        source: the file, on disk or inside a package.
        model: what it must hold.

    Raises:
        InputFault: it cannot be read, is no TOML, or holds something else.
    """
    where = str(source) if isinstance(source, Path) else source.name
    try:
        with source.open("rb") as file:
            content = file.read(MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        raise InputFault(f"{where}: there is no such file.") from None
    except OSError as fault:
        raise InputFault(f"{where} cannot be read: {fault.strerror}.") from None
    if len(content) > MAX_FILE_BYTES:
        raise InputFault(f"{where} is larger than {MAX_FILE_BYTES} bytes.")
    return check_typed(_parse(content, where), model, where)


def _parse(content: bytes, where: str) -> dict[str, Any]:
    """TOML out of bytes.

    Raises:
        InputFault: it is not UTF-8 or not TOML; the line is named.
    """
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as fault:
        line = content.count(b"\n", 0, fault.start) + 1
        raise InputFault(f"{where}: line {line} is not UTF-8 text.") from None
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        hint = ""
        if DECIMAL_COMMA.search(content):
            hint = " Write decimals with a point: 76.2, not 76,2."
        raise InputFault(f"{where} is not valid TOML: {fault}.{hint}") from None


def check_typed(data: Mapping[str, object], model: type[TableT], where: str) -> TableT:
    """Check values that were read already, from a file or a record.

    Args:
        data: keys and values.
        model: what they must be.
        where: the file, as the sentence names it.

    Raises:
        InputFault: they are something else; the first fault in words.
    """
    try:
        return model.model_validate(data)
    except ValidationError as fault:
        raise InputFault(told(fault, model, where)) from None


def told(fault: ValidationError, model: type[BaseModel], where: str) -> str:
    """The first of some faults in a sentence, and how many more there are."""
    errors = fault.errors(include_url=False)
    # A misspelt key also leaves the right one missing: the first explains the second.
    errors.sort(key=lambda error: error["type"] != "extra_forbidden")
    formats = [error for error in errors if error["loc"] == ("format",)]
    first = (formats or errors)[0]
    more = len({error["loc"] for error in errors}) - 1
    tail = f" ({more} more to mend after that.)" if more else ""
    sentence = f"{where}: {_sentence(first, model)}.{tail}"
    # Keys and values are a stranger's: no line breaks or terminal codes from them.
    return "".join(c if c.isprintable() else "?" for c in sentence)


def _sentence(error: ErrorDetails, model: type[BaseModel]) -> str:
    """What is wrong with one key and what is allowed."""
    key = _dotted(error["loc"])
    if error["type"] == "missing":
        return f"{key} is missing{_asked_for(error['loc'], model)}"
    if error["type"] == "extra_forbidden":
        return _unknown_key(error["loc"], model)
    allowed = _ALLOWED.get(error["type"])
    rule = error["msg"] if allowed is None else allowed.format(**error.get("ctx", {}))
    if error["type"] == "json_invalid":
        return rule
    if error["type"] == "value_error" and isinstance(error["input"], Mapping):
        return f"[{key}] {rule}" if key else rule
    return f"{key} is {_shown(error['input'])}; {rule}"


def _dotted(loc: Sequence[int | str]) -> str:
    """A key as a person would name it: ``pack.cells``, ``levels_percent value 3``."""
    names = ".".join(part for part in loc if isinstance(part, str))
    places = [part + 1 for part in loc if isinstance(part, int)]
    return names + "".join(f" value {place}" for place in places)


def _shown(value: object) -> str:
    """A value as TOML writes it, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value[:40]}"'
    shown = str(value)
    return shown if len(shown) <= 40 else shown[:37] + "..."


def _asked_for(loc: Sequence[int | str], model: type[BaseModel]) -> str:
    """What a missing key asks for, where its model says so in its description."""
    field = _table_at(model, loc[:-1]).model_fields.get(str(loc[-1]))
    words = field.description if field is not None else None
    return f": {words}" if words else ""


def _unknown_key(loc: Sequence[int | str], model: type[BaseModel]) -> str:
    """An unknown key, and the known one that was probably meant."""
    known = list(_table_at(model, loc[:-1]).model_fields)
    written = str(loc[-1])
    # A unit left off is commoner than a slip of the finger.
    near = [key for key in known if written and key.startswith(f"{written}_")]
    near = near or get_close_matches(written, known, n=1)
    hint = f"{near[0]} was probably meant" if near else f"known are {', '.join(known)}"
    return f"{_dotted(loc)} is not a known key; {hint}"


def _table_at(model: type[BaseModel], loc: Sequence[int | str]) -> type[BaseModel]:
    """The model of the table that a fault lies in, as far as it can be followed."""
    for part in loc:
        field = model.model_fields.get(part) if isinstance(part, str) else None
        if field is None:
            continue  # a place in a list of tables, or a key by another name
        inner = [kind for kind in _kinds(field.annotation) if _is_table(kind)]
        if not inner:
            return model
        model = inner[0]
    return model


def _kinds(annotation: object) -> list[Any]:
    """A type and all that it is made of."""
    parts = [kind for part in get_args(annotation) for kind in _kinds(part)]
    return [annotation, *parts]


def _is_table(kind: object) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)
