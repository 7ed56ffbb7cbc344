"""All kinds of faults by name: read from a file, or drawn at random.

The one list of what there is. Neither a file nor a draw can make a fault that
its own constructor would refuse.
"""

import math
from collections.abc import Collection
from dataclasses import fields
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BeforeValidator, Field, create_model

from daq.errors import InputFault
from daq.stand.faults import article, board, sensors, wire
from daq.stand.faults.fault import LATEST_S, NEVER, Fault, Range, names_of, range_of
from daq.typed_toml import Table, check_typed, read_typed

KINDS: dict[str, type[Fault]] = {
    kind.kind: kind
    for kind in (
        wire.CableOut,
        wire.LostBytes,
        wire.DamagedBytes,
        wire.LateChunks,
        wire.RepeatedChunks,
        wire.ReorderedChunks,
        board.Reset,
        board.BrownOut,
        board.SaggingSupply,
        board.Hang,
        board.LockUp,
        sensors.FrozenSensor,
        sensors.NoisySensor,
        sensors.OffsetSensor,
        sensors.SaturatedSensor,
        sensors.GlitchingSensor,
        sensors.SilentSensor,
        article.ThrownPropeller,
        article.StalledMotor,
        article.DesynchronisedMotor,
        article.HotMotor,
        article.WeakPack,
        article.WrongPack,
        article.NearlyEmptyPack,
        article.LoosePlug,
        article.PlugOut,
        article.EscNotArming,
        article.EscIgnoringZero,
        article.StopLoopOpen,
    )
}

SHORTEST_S = 0.02
"""Of a fault that a draw lets end."""


def _tables(value: object) -> object:
    """A list of tables, said in TOML's terms where it is none."""
    if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
        raise ValueError("each fault is a table that begins with [[fault]]")
    return value


class FaultsFile(Table):
    """A faults file: any number of ``[[fault]]`` tables."""

    title: str = ""
    fault: Annotated[list[dict[str, Any]], BeforeValidator(_tables)]


def _model(kind: type[Fault]) -> type[Table]:
    """What a file may say of a kind, out of the kind's own figures."""
    keys: dict[str, Any] = {"kind": (Literal[kind.kind], kind.kind)}
    for item in fields(kind):
        allowed, names = range_of(item), names_of(item)
        typed: Any = item.type
        if item.name == "start_s":
            typed = Annotated[float, Field(ge=0.0, le=LATEST_S)]
        elif allowed:
            typed = Annotated[typed, Field(ge=allowed.low, le=allowed.high)]
        elif names:
            typed = Literal[names]
        keys[item.name] = (typed, item.default)
    return create_model(kind.__name__, __base__=Table, **keys)


def read_faults(path: Path) -> tuple[Fault, ...]:
    """The faults of a file, in its order.

    Raises:
        InputFault: it cannot be read, is no TOML or holds what is no fault; the
            sentence names file, fault and key.
    """
    tables = read_typed(path, FaultsFile).fault
    return tuple(
        _read(table, f"{path}: fault {number}")
        for number, table in enumerate(tables, start=1)
    )


def _read(table: dict[str, Any], where: str) -> Fault:
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        near = get_close_matches(str(kind), KINDS, n=1)
        hint = f"{near[0]} was probably meant" if near else f"known are {_all()}"
        shown = "missing" if kind is None else f'"{str(kind)[:40]}"'
        sentence = f"{where}: kind is {shown}; {hint}."
        raise InputFault("".join(c if c.isprintable() else "?" for c in sentence))
    values = check_typed(table, _model(KINDS[kind]), where).model_dump()
    del values["kind"]
    try:
        return KINDS[kind](**values)
    except InputFault as fault:
        raise InputFault(f"{where}: {fault}.") from None


def _all() -> str:
    return ", ".join(KINDS)


def draw(
    rng: np.random.Generator,
    kinds: Collection[str] = tuple(KINDS),
    window_s: tuple[float, float] = (0.0, 10.0),
    channels: Collection[str] = sensors.CHANNELS,
) -> Fault:
    """One random fault with figures that make sense.

    Args:
        rng: where it comes from; the same state gives the same fault.
        kinds: names of kinds to choose from, each as likely as the others.
        window_s: between which times it starts; where it lasts, one in two ends,
            at most as long after as the window is wide.
        channels: for sensor faults, which there are.

    Raises:
        InputFault: a kind is not known.
    """
    names = list(kinds)
    name = names[int(rng.integers(len(names)))]
    if name not in KINDS:
        raise InputFault(f"there is no fault {name}; known are {_all()}")
    kind = KINDS[name]
    start_s = float(rng.uniform(*window_s))
    values: dict[str, Any] = {"start_s": start_s}
    for item in fields(kind):
        allowed, words = range_of(item), names_of(item)
        if item.name == "end_s":
            longest_s = max(SHORTEST_S, window_s[1] - window_s[0])
            lasts_s = _between(rng, Range(0, 0, (SHORTEST_S, longest_s)))
            values["end_s"] = start_s + lasts_s if rng.random() < 0.5 else NEVER
        elif item.name == "once":
            values["once"] = bool(rng.random() < 0.25)
        elif allowed:
            value = _between(rng, allowed)
            values[item.name] = round(value) if item.type is int else value
            while values[item.name] == allowed.passed_over:
                values[item.name] = round(_between(rng, allowed))
        elif words:
            choose = [w for w in words if w in channels] or list(words)
            values[item.name] = choose[int(rng.integers(len(choose)))]
    return kind(**_sized(values, rng))


def _between(rng: np.random.Generator, allowed: Range) -> float:
    low, high = allowed.drawn
    if low > 0.0:
        return float(np.exp(rng.uniform(math.log(low), math.log(high))))
    return float(rng.uniform(low, high))


def _sized(values: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """Sizes of a sensor's errors are drawn in units of what is large for it."""
    for name in ("noise_rms_si", "offset_si", "size_si"):
        if name in values:
            values[name] *= sensors.SIZES_SI[values["channel"]]
    if "offset_si" in values and rng.random() < 0.5:
        values["offset_si"] = -values["offset_si"]
    return values
