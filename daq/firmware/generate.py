"""The C side of the wire, written from the Python definitions.

``python -m daq.firmware.generate`` writes ``core/wire.h``; with ``--check`` it only
says whether that file is what it would write, and CI fails where it is not. It must
never hold a number of its own: all come from ``daq.link``.
"""

import argparse
import struct
import sys
from collections.abc import Iterator
from dataclasses import fields
from enum import IntEnum, IntFlag
from pathlib import Path

from daq.link import framing
from daq.link import messages as m
from daq.link.standing import CAUSES, MAY_DRIVE, STATES, Move, after

TARGET = Path(__file__).parent / "core" / "wire.h"

_HEAD = """\
/* The wire language, written by `python -m daq.firmware.generate` from
 * daq/link/messages.py and daq/link/standing.py. Do not edit: change those, and
 * write it again. daq/link/README.md says what everything means. */
#ifndef GW_WIRE_H
#define GW_WIRE_H

#include <stdint.h>
"""
_CONSTANTS = {
    "LINK_VERSION": m.LINK_VERSION,
    "MIN_PAYLOAD": framing.MIN_PAYLOAD,
    "MAX_PAYLOAD": framing.MAX_PAYLOAD,
    "MAX_ENCODED": framing.MAX_ENCODED,
    "HEAD_SIZE": framing.MIN_PAYLOAD,
    "CRC_START": framing.CRC_START,
    "THROTTLE_FULL": m.THROTTLE_FULL,
    "LEASE_MIN_MS": m.LEASE_MIN_MS,
    "LEASE_MAX_MS": m.LEASE_MAX_MS,
    "NONE": m.NONE,
    "MAX_AGE_UNIT_MS": m.MAX_AGE_UNIT_MS,
    "MAX_CHANNELS": m.MAX_CHANNELS,
    "PATIENCE_MAX_MS": m.PATIENCE_MAX_MS,
    "NO_SAMPLE": m.NO_SAMPLE,
    "BURST_MOST": m.Burst.MOST,
}
_ENUMS: tuple[type[IntEnum] | type[IntFlag], ...] = (
    m.State,
    m.Cause,
    m.Verdict,
    m.Ability,
    m.Quantity,
    m.Kind,
    m.StopReason,
    m.Trigger,
    Move,
)
_FIXED: tuple[type[m.Fixed], ...] = (
    m.Identity,
    m.ChannelPage,
    m.Event,
    m.Reply,
    m.Counters,
    m.Who,
    m.Prove,
    m.Arm,
    m.Throttle,
    m.Stop,
    m.Acknowledge,
    m.Lock,
    m.Capture,
)
_FREE = (m.StreamPage, m.Samples, m.Limits)


def _name(word: str) -> str:
    """``ChannelPage`` as ``CHANNEL_PAGE``."""
    parts = [f"_{c}" if c.isupper() and at else c for at, c in enumerate(word)]
    return "".join(parts).upper()


def _enum(kind: type[IntEnum] | type[IntFlag]) -> str:
    name = _name(kind.__name__)
    members = [f"    GW_{name}_{item.name} = {item.value}," for item in kind]
    return "\n".join(["enum {", *members, "};"])


def _parts(layout: str) -> Iterator[str]:
    """``<BI16s`` as B, I, 16s."""
    digits = ""
    for letter in layout.lstrip("<"):
        if letter.isdigit():
            digits += letter
        else:
            yield digits + letter
            digits = ""


def _layout(kind: type[m.Fixed] | type[m.Burst]) -> str:
    """Where each field of a body begins, and how long the body is, or its head."""
    name, at = _name(kind.__name__), 0
    lines = [f"#define GW_{name} 0x{kind.TYPE:02X}", "enum {"]
    layout = kind.HEAD if issubclass(kind, m.Burst) else kind.LAYOUT
    names = [field.name for field in fields(kind)]  # type: ignore[arg-type]
    parts = list(_parts(layout.format))
    for field, part in zip(names[: len(parts)], parts, strict=True):
        lines.append(f"    GW_{name}_AT_{field.upper()} = {at},")
        at += struct.calcsize("<" + part)
    return "\n".join([*lines, f"    GW_{name}_SIZE = {at},", "};"])


def _states() -> str:
    """The table: rows are moves, columns states from unknown on; 0 stays."""
    lines = [
        "/* Where each move leads from each state, GW_STATE_UNKNOWN where it leads",
        " * nowhere. Columns: unknown, locked, proving, armed, spinning, tripped. */",
        "#define GW_NEXT_TABLE \\",
    ]
    for move in Move:
        to = [after(state, move) or 0 for state in STATES]
        row = ", ".join(str(int(state)) for state in (0, *to))
        lines.append(f"    {{{row}}}, /* {move.name.lower().replace('_', ' ')} */ \\")
    lines.append("")
    causes = ", ".join(str(int(CAUSES.get(move, 0))) for move in Move)
    drive = " || ".join(f"(state) == {int(state)}" for state in MAY_DRIVE)
    lines += [
        "/* The cause that each move is told with; a trip brings its own. */",
        f"#define GW_CAUSE_TABLE {causes}",
        f"#define GW_MOVES {len(Move)}",
        f"#define GW_STATES {len(STATES) + 1}",
        f"#define GW_MAY_DRIVE(state) ({drive})",
    ]
    return "\n".join(lines)


def text() -> str:
    """The header as it should be."""
    constants = [f"#define GW_{name} {value}" for name, value in _CONSTANTS.items()]
    free = [f"#define GW_{_name(k.__name__)} 0x{k.TYPE:02X}" for k in _FREE]
    parts = [
        _HEAD,
        "\n".join(constants),
        *(_enum(kind) for kind in _ENUMS),
        *(_layout(kind) for kind in (*_FIXED, m.Burst)),
        "\n".join(free),
        _states(),
        "#endif\n",
    ]
    return "\n\n".join(parts)


def main() -> int:
    """Write it, or check it."""
    parser = argparse.ArgumentParser(prog="python -m daq.firmware.generate")
    parser.add_argument("--check", action="store_true", help="only compare")
    if not parser.parse_args().check:
        TARGET.write_text(text(), "utf-8")
    same = TARGET.exists() and TARGET.read_text("utf-8") == text()
    if not same:
        print(f"{TARGET.name} is not what daq/link says: generate it again")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
