"""What somebody has to do before going near the motor, in words that cannot wait."""

from collections.abc import Mapping
from typing import Final

RUNS_ON: Final = "THE MOTOR RUNS ON. PULL THE ARMING PLUG before you go near it."
LOAD_ON: Final = "SWITCH THE LOAD OFF, or pull the plug: nothing here can do it."
NOT_CONFIRMED: Final = (
    "STOP NOT CONFIRMED by the stand. CUT THE POWER before you go near it."
)
GONE: Final = (
    "The keeper is gone without a word. CUT THE POWER before you go near the motor. "
    "The stand stops by itself when its lease ends."
)
GONE_UNPROTECTED: Final = (
    "The keeper is gone without a word. CUT THE POWER before you go near the motor: "
    "this stand does not stop by itself."
)
SILENT_UNPROTECTED: Final = (
    "The keeper is silent, and this stand does not stop by itself: if the motor turns, "
    "PULL THE ARMING PLUG."
)
SILENT: Final = (
    "The keeper is silent. The stand stops by itself when its lease ends; if the "
    "motor turns, CUT THE POWER."
)


def danger_in(outcome: Mapping[str, object], *, unprotected: bool = False) -> str:
    """What somebody has to do before going near the motor; "" for nothing.

    Args:
        outcome: as the keeper gave it; empty where it gave none.
        unprotected: the stand does not stop by itself.
    """
    if not outcome:
        return GONE_UNPROTECTED if unprotected else GONE
    if outcome.get("stop_confirmed") is True:
        return ""
    runs_on = "THE MOTOR RUNS ON" in str(outcome.get("cause"))
    return RUNS_ON if runs_on else NOT_CONFIRMED


def danger_told(note: Mapping[str, object]) -> str:
    """What a note says that cannot wait for the end; "" for nothing."""
    if note.get("note") == "trip" and note.get("by_hand") is True:
        return LOAD_ON
    return RUNS_ON if note.get("note") == "still driven" else ""
