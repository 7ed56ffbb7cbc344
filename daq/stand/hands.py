"""What a person's hand does to a simulated stand, and how it is asked for and told."""

import json
import math
import os
from collections.abc import Iterator, Mapping
from typing import Protocol

from daq.errors import InputFault

MAX_LINE_BYTES = 1000

LOAD = "load"
"""An order to set down so many newton; for programs, not typed by a person."""

BANK = "bank"
"""An order to switch on so many ohm across the bus, or "off"; likewise."""

HANDS: dict[tuple[str, str], str] = {
    ("plug", "out"): "The arming plug is out.",
    ("plug", "in"): "The arming plug is in.",
    ("loop", "open"): "The stop loop is open.",
    ("loop", "closed"): "The stop loop is closed.",
}
"""What a person's hand can do to the stand, and how it is told."""


class Handled(Protocol):
    """A stand that a person's hand can do something to.

    Attributes:
        plug_in: whether the arming plug is in.
        stop_loop_open: whether the stop loop is open.
    """

    plug_in: bool
    stop_loop_open: bool


def by_hand(stand: Handled, part: str, state: str) -> str:
    """Do one of ``HANDS``; returns the sentence that says so.

    Raises:
        InputFault: there is no such thing to do.
    """
    if part == LOAD:
        return _set_down(stand, state)
    if part == BANK:
        return _switch(stand, state)
    told = HANDS.get((part, state))
    if told is None:
        known = ", ".join(" ".join(words) for words in HANDS)
        typed = "".join(c if c.isprintable() else "?" for c in f"{part} {state}"[:40])
        raise InputFault(f'"{typed.strip()}" is nothing to do here: {known}.')
    if part == "plug":
        stand.plug_in = state == "in"
    else:
        stand.stop_loop_open = state == "open"
    return told


def _set_down(stand: Handled, newton: str) -> str:
    """Put so much on the load cell, instead of what was on it.

    Raises:
        InputFault: it is no number, or this stand has no cell to put it on.
    """
    bench = getattr(stand, "bench", None)
    try:
        load_n = float(newton)
    except ValueError:
        load_n = math.nan
    if bench is None or not math.isfinite(load_n):
        raise InputFault("a load is set down in newton, on a stand with frames only.")
    bench.placed_load_n = load_n
    return f"{load_n:g} N are on the load cell."


def _switch(stand: Handled, ohm: str) -> str:
    """Switch a resistor on across the bus, instead of what was on.

    Raises:
        InputFault: it is no resistance, or this stand has no bus to put it on.
    """
    bench = getattr(stand, "bench", None)
    try:
        bank_ohm = math.inf if ohm == "off" else float(ohm)
    except ValueError:
        bank_ohm = math.nan
    if bench is None or not bank_ohm > 0.0:
        raise InputFault("a load is switched in ohm, on a stand with frames only.")
    bench.bank_ohm = bank_ohm
    return f"{bank_ohm:g} ohm are across the bus."


def lines_of(descriptor: int) -> Iterator[str]:
    """Lines of an input until it ends or cannot be read.

    Not through ``sys.stdin``, whose lock a dying interpreter would wait for.
    """
    held = b""
    while True:
        try:
            data = os.read(descriptor, 4096)
        except OSError:
            return
        if not data:
            return
        *lines, held = (held + data).split(b"\n")
        held = held[-MAX_LINE_BYTES:]
        for line in lines:
            yield line.decode("utf-8", "replace").strip()


def order_of(line: str) -> tuple[str, str]:
    """Part and state out of an order's JSON line.

    Raises:
        InputFault: it is none.
    """
    try:
        said = json.loads(line)
    except (ValueError, RecursionError):
        said = None
    if not isinstance(said, Mapping) or len(said) != 1:
        raise InputFault('An order is a line such as {"plug": "out"}.')
    ((part, state),) = said.items()
    return str(part), str(state)
