"""What a guard that was seen to act is called, wherever it is told."""

from collections.abc import Mapping
from typing import Final

RUNNING: Final = "lease while running"
_CALLED: Final = {
    "damage": "damaged frames",
    "limit": "limit on",
    "silence": "silence of",
    RUNNING: "lease, motor running",
}


def stands_in(note: Mapping[str, object]) -> bool:
    """Whether a note tells of this program, in place of a stand that has no lease."""
    return "by" in note


def guard_called(note: Mapping[str, object]) -> str:
    """The guard of a ``proved`` note, with its channel.

    A stand without a lease has none that could be proven: what was seen is its stop.
    """
    guard, channel = str(note.get("guard")), str(note.get("channel") or "")
    if guard == RUNNING and stands_in(note):
        return "stop, motor running"
    return f"{_CALLED.get(guard, guard)} {channel}".strip()
