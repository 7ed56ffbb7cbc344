"""What a hand does to a simulated stand, and how it is typed."""

import math
import os

import pytest

from daq.errors import InputFault
from daq.stand.hands import HANDS, by_hand, lines_of
from daq.stand.serve import build


def test_hands_move_the_plug_and_the_loop() -> None:
    stand = build(None, 1)
    done = []
    for part, state in HANDS:
        told = by_hand(stand, part, state)
        stand.advance(500)
        supply = "supply" if stand.bench.bus_v > 12.0 else "no supply"
        done.append((told, supply, stand.stop_loop_open))
    assert done == [
        ("The arming plug is out.", "no supply", False),
        ("The arming plug is in.", "supply", False),
        ("The stop loop is open.", "supply", True),
        ("The stop loop is closed.", "supply", False),
    ]


@pytest.mark.parametrize("words", [("plug", ""), ("plug", "OUT"), ("\x1b[2J", "x")])
def test_hands_do_nothing_else_and_say_what_they_can(words: tuple[str, str]) -> None:
    with pytest.raises(
        InputFault, match="plug out, plug in, loop open, loop closed"
    ) as it:
        by_hand(build(None, 1), *words)
    assert str(it.value).isprintable()


def test_a_program_may_switch_a_load_on_and_off() -> None:
    stand = build(None, 1)
    assert by_hand(stand, "bank", "1.5") == "1.5 ohm are across the bus."
    assert stand.bench.bank_ohm == 1.5
    by_hand(stand, "bank", "off")
    assert stand.bench.bank_ohm == math.inf
    for ohm in ("", "-1", "0", "nan"):
        with pytest.raises(InputFault, match="switched in ohm"):
            by_hand(stand, "bank", ohm)


def test_lines_come_whole_however_they_arrive_and_end_with_the_input() -> None:
    into, out = os.pipe()
    for part in (b"plug", b" out\nloo", b"p open\r\n\n", b"x" * 5000, b"y\nlast"):
        os.write(out, part)
    os.close(out)
    try:
        lines = list(lines_of(into))
    finally:
        os.close(into)
    assert lines[:3] == ["plug out", "loop open", ""]
    assert len(lines[3]) <= 4096 + 1000  # a line without end is not kept
    assert len(lines) == 4
    assert list(lines_of(into)) == []  # what cannot be read has no lines
