"""What the C side knows of the wire is what Python says of it."""

import re

from daq.firmware import generate
from daq.link import messages as m
from daq.link.standing import STATES, Move, after


def test_the_header_is_what_the_definitions_say() -> None:
    assert generate.TARGET.read_text("utf-8") == generate.text()


def test_every_field_has_its_place_and_every_message_its_size() -> None:
    text = generate.text()
    for kind in (m.Event, m.Reply, m.Counters, m.Identity, m.ChannelPage, m.Arm):
        name = re.sub(r"(?<!^)(?=[A-Z])", "_", kind.__name__).upper()
        places = [
            int(re.search(rf"GW_{name}_AT_{f.upper()} = (\d+),", text)[1])  # type: ignore[index]
            for f in kind.field_names()
        ]
        assert places == sorted(set(places))
        assert places[0] == 0
        assert f"GW_{name}_SIZE = {kind.LAYOUT.size}," in text
        assert f"#define GW_{name} 0x{kind.TYPE:02X}" in text


def test_the_table_of_states_is_the_same_on_both_sides() -> None:
    rows = re.findall(r"\{(\d(?:, \d){5})\}", generate.text())
    assert len(rows) == len(Move)
    for move, row in zip(Move, rows, strict=True):
        cells = [int(cell) for cell in row.split(", ")]
        assert cells == [0, *(int(after(state, move) or 0) for state in STATES)]
