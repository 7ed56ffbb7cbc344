"""A calibration as JSON, and back.

The file is complete by itself and carries a check of its own content in its identity,
so that a calibration that was changed by hand is not taken for the one that was made.
Text in, text out; where it is kept is the shelf's business.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any, Final, Literal

from pydantic import Field

from daq.calibration.readings import Kind, Leg, Reading
from daq.calibration.value import (
    FORMAT,
    Bias,
    Calibration,
    Cause,
    Point,
    Stray,
    Subject,
    Trial,
)
from daq.errors import InputFault
from daq.typed_toml import Table, check_typed

KIND: Final = "gramwatt calibration"
UNFINISHED: Final = "gramwatt unfinished calibration"
CHECK_DIGITS: Final = 6


class _Subject(Table):
    channel: str = Field(min_length=1, max_length=16)
    unit: Literal["N", "A", "V"]
    stand_id: int
    specimen: str
    simulated: bool


class _Cause(Table):
    name: str
    powers: list[int] = Field(min_length=1, max_length=3)
    factor: list[list[float]] = Field(min_length=1, max_length=3)
    dof: float | None
    alone: bool
    words: str


class _Stray(Table):
    name: str
    knots_si: list[float] = Field(min_length=1, max_length=20)
    u_si: list[float] = Field(min_length=1, max_length=20)
    dof: float | None
    words: str


class _Trial(Table):
    name: str
    value_rel: float | None
    u_rel: float | None
    sentence: str


class _Bias(Table):
    what: str
    difference_rel: float
    u_rel: float
    compared: list[str] = Field(min_length=2, max_length=2)


class _Reading(Table):
    kind: Kind
    series: int
    leg: Leg
    level: int
    counts: float
    u_counts: float
    sd_counts: float
    low_counts: int
    high_counts: int
    count: int
    at_s: float


class _Point(Table):
    reading: _Reading
    value_si: float
    residual_si: float | None


class _Calibration(Table):
    format: Literal[1]
    kind: Literal["gramwatt calibration"]
    id: str = Field(min_length=1, max_length=80)
    subject: _Subject
    made_utc: str
    zero_counts: float
    powers: list[int] = Field(min_length=1, max_length=3)
    coefficients: list[float] = Field(min_length=1, max_length=3)
    low_si: float
    high_si: float
    causes: list[_Cause]
    strays: list[_Stray]
    hysteresis: _Stray | None
    trials: list[_Trial]
    points: list[_Point]
    standards: list[dict[str, str | float | int | bool | None]]
    facts: dict[str, str | float | int | bool | None]
    cautions: list[str]
    biases: list[_Bias]
    note: str


class _Unfinished(Table):
    format: Literal[1]
    kind: Literal["gramwatt unfinished calibration"]
    channel: str
    stand_id: int
    utc: str
    readings: list[_Reading] = Field(max_length=2000)
    typed: dict[str, float]


def to_dict(made: Calibration) -> dict[str, Any]:
    """Plain values, ready for JSON."""
    said = {"format": FORMAT, "kind": KIND} | asdict(made)
    plain: dict[str, Any] = json.loads(json.dumps(_finite(said)))
    return plain


def to_text(made: Calibration) -> str:
    """The whole file."""
    return json.dumps(to_dict(made), indent=1, ensure_ascii=False) + "\n"


def named(made: Calibration) -> Calibration:
    """The same with the identity that follows from its content."""
    return replace(made, id=_identity(replace(made, id="")))


def _identity(nameless: Calibration) -> str:
    content = json.dumps(to_dict(nameless), sort_keys=True).encode()
    check = hashlib.sha256(content).hexdigest()[:CHECK_DIGITS]
    subject = nameless.subject
    return f"{subject.channel}-{nameless.made_utc[:10]}-{check}"


def _finite(value: object) -> object:
    """The same without what JSON has not: not a number and infinity are None."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    return value


def from_text(text: str, where: str) -> Calibration:
    """Read what ``to_text`` wrote.

    Raises:
        InputFault: it is no calibration, of a newer format, or was changed.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise InputFault(f"{where} is no JSON, so it is no calibration.") from None
    return from_dict(data, where)


def from_dict(data: object, where: str) -> Calibration:
    """Read what ``to_dict`` gave.

    Raises:
        InputFault: it is no calibration, of a newer format, or was changed.
    """
    if not isinstance(data, Mapping) or data.get("kind") != KIND:
        raise InputFault(f"{where} is no calibration.")
    version = data.get("format")
    if isinstance(version, int) and version > FORMAT:
        raise InputFault(
            f"{where} has format {version}, and this version of gramwatt reads up to "
            f"{FORMAT}: use a newer gramwatt, or calibrate again."
        )
    read = check_typed(data, _Calibration, where)
    made = _made(read, where)
    if _identity(replace(made, id="")) != made.id:
        raise InputFault(
            f"{where}: its content does not fit its identity {made.id[:80]}, so it was "
            "changed after it was made. Use the calibration as it was, or calibrate "
            "again."
        )
    return made


def _made(read: _Calibration, where: str) -> Calibration:
    """The value of what was read.

    Raises:
        InputFault: its tables do not fit each other.
    """
    lengths = [
        (len(read.powers), len(read.coefficients)),
        *((len(cause.powers), len(cause.factor)) for cause in read.causes),
        *((len(stray.knots_si), len(stray.u_si)) for stray in read.strays),
    ]
    if any(a != b for a, b in lengths) or 1 not in read.powers:
        raise InputFault(f"{where}: its tables do not fit each other.")
    return Calibration(
        subject=Subject(**read.subject.model_dump()),
        made_utc=read.made_utc,
        zero_counts=read.zero_counts,
        powers=tuple(read.powers),
        coefficients=tuple(read.coefficients),
        low_si=read.low_si,
        high_si=read.high_si,
        causes=tuple(_cause(cause) for cause in read.causes),
        strays=tuple(_stray(stray) for stray in read.strays),
        hysteresis=None if read.hysteresis is None else _stray(read.hysteresis),
        trials=tuple(_trial(trial) for trial in read.trials),
        points=tuple(_point(point) for point in read.points),
        standards=tuple(read.standards),
        facts=read.facts,
        cautions=tuple(read.cautions),
        biases=tuple(_bias(bias) for bias in read.biases),
        note=read.note,
        id=read.id,
    )


def _dof(dof: float | None) -> float:
    return math.inf if dof is None else dof


def _cause(read: _Cause) -> Cause:
    factor = tuple(tuple(row) for row in read.factor)
    return Cause(
        read.name, tuple(read.powers), factor, _dof(read.dof), read.alone, read.words
    )


def _stray(read: _Stray) -> Stray:
    return Stray(
        read.name, tuple(read.knots_si), tuple(read.u_si), _dof(read.dof), read.words
    )


def _trial(read: _Trial) -> Trial:
    value = math.nan if read.value_rel is None else read.value_rel
    u = math.nan if read.u_rel is None else read.u_rel
    return Trial(read.name, value, u, read.sentence)


def _bias(read: _Bias) -> Bias:
    first, second = read.compared
    return Bias(read.what, read.difference_rel, read.u_rel, (first, second))


def _point(read: _Point) -> Point:
    gap = math.nan if read.residual_si is None else read.residual_si
    return Point(Reading(**read.reading.model_dump()), read.value_si, gap)


def unfinished_to_text(
    channel: str,
    stand_id: int,
    utc: str,
    readings: Sequence[Reading],
    typed: Mapping[int, float],
) -> str:
    """What a calibration had read that is left before its end.

    Args:
        channel: which.
        stand_id: of the stand.
        utc: when it is left.
        readings: in the order of its steps.
        typed: what a meter showed, by level.
    """
    content = {
        "format": FORMAT,
        "kind": UNFINISHED,
        "channel": channel,
        "stand_id": stand_id,
        "utc": utc,
        "readings": [asdict(reading) for reading in readings],
        "typed": {str(level): value for level, value in typed.items()},
    }
    return json.dumps(content, indent=1)


def unfinished_from(
    text: str, where: str, channel: str, stand_id: int
) -> tuple[list[Reading], dict[int, float]]:
    """Read what ``unfinished_to_text`` wrote: readings, and what a meter had shown.

    Raises:
        InputFault: it is none, or of another channel or stand.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise InputFault(f"{where} is no JSON, so nothing goes on from it.") from None
    if not isinstance(data, Mapping):
        raise InputFault(f"{where} is no calibration that was left.")
    read = check_typed(data, _Unfinished, where)
    if (read.channel, read.stand_id) != (channel, stand_id):
        raise InputFault(
            f"{where} is of {read.channel} of stand {read.stand_id:08x}, and this is "
            f"{channel} of stand {stand_id:08x}."
        )
    typed = {int(k): value for k, value in read.typed.items() if k.isdecimal()}
    return [Reading(**r.model_dump()) for r in read.readings], typed
