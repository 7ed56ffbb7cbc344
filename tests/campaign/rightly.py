"""What names each fault rightly, and how soon the pulse has to be gone.

The campaign's judgement, written down apart from the guard: a fault of a kind may end
a run by any of its names, by a consequence named truly ("silence" where a board
restarts), or by nothing at all where it can be too small to matter.
"""

from dataclasses import dataclass

LINE = frozenset(
    {
        "silence",
        "lease",
        "link",
        "unknown",  # the stand's event was lost on the way
        "unanswered",
        "not a stand",
        "not ready",
        "not armed",
        "not locked",
        "locked",
    }
)
# A board that is dark answers nothing.
BOARD = frozenset(
    {"restarted", "silence", "lease", "not a stand", "unknown", "unanswered"}
)
# What a falsified reading looks like to whoever has only the reading.
SENSOR = frozenset(
    {
        "limit",
        "silence",
        "bounds",
        "follows",
        "frozen",
        "plausible",
        "stalled",
        "stuck",
        "thrown",
        "heat",
        "hold",
        "burst",
        "pack",
        "plug",
        "not ready",
        "not started",
        "nobody there",  # a supply that is never seen on or off
        "refused: limit exceeded",
        "refused: channel silent",
        "supply on",
    }
)
MOTOR = frozenset(
    {"stalled", "plausible", "thrown", "follows", "stuck", "limit", "hold"}
)


@dataclass(frozen=True, slots=True)
class Rightly:
    """How a kind of fault may show.

    Attributes:
        names: checks that name it rightly.
        within_s: from its start, while the motor is driven, to a pulse at zero; None
            where it need not stop anything.
    """

    names: frozenset[str]
    within_s: float | None = None


LEASE_S = 0.2
SERVO_S = 0.003
# Silence is noticed by the host after a channel's age and what adapters may hold.
KINDS: dict[str, Rightly] = {
    "cable-out": Rightly(LINE | {"restarted", "not started"}),
    "lost-bytes": Rightly(LINE),
    "damaged-bytes": Rightly(LINE),
    "late-chunks": Rightly(LINE | {"follows", "plausible", "bounds"}),
    "repeated-chunks": Rightly(LINE),
    "reordered-chunks": Rightly(LINE | {"restarted"}),
    "reset": Rightly(BOARD, SERVO_S),
    "brown-out": Rightly(BOARD, SERVO_S),
    "sagging-supply": Rightly(BOARD | {"limit"}),
    "hang": Rightly(LINE | BOARD),
    "lock-up": Rightly(LINE | BOARD),
    "frozen-sensor": Rightly(SENSOR),
    "noisy-sensor": Rightly(SENSOR),
    "offset-sensor": Rightly(SENSOR),
    "saturated-sensor": Rightly(SENSOR),
    "glitching-sensor": Rightly(SENSOR),
    "silent-sensor": Rightly(SENSOR),
    # Within 0.1 s by current and rpm at a held throttle; on the first way up, with
    # nothing learned yet, by a load cell that is back at rest.
    "thrown-propeller": Rightly(
        frozenset({"thrown", "limit", "plausible", "stuck", "stalled", "hold"}), 1.2
    ),
    "stalled-motor": Rightly(MOTOR | {"not started", "burst", "heat"}, 1.2),
    "desynchronised-motor": Rightly(MOTOR | {"bounds", "not started", "heat"}, 1.2),
    "hot-motor": Rightly(frozenset({"heat", "plausible"})),
    "weak-pack": Rightly(frozenset({"limit", "plausible", "stalled", "restarted"})),
    "wrong-pack": Rightly(frozenset({"limit", "not ready", "plausible", "bounds"})),
    "nearly-empty-pack": Rightly(
        frozenset(
            {
                "limit",
                "not ready",
                "plausible",
                "stalled",
                "pack",
                "refused: limit exceeded",  # below its floor after the proof's spin
            }
        )
    ),
    "loose-plug": Rightly(
        frozenset(
            {"limit", "plausible", "thrown", "stalled", "not ready", "follows", "plug"}
        )
    ),
    "plug-out": Rightly(
        frozenset(
            {
                "limit",
                "not ready",
                "stalled",
                "thrown",
                "plausible",
                "nobody there",
                "not started",
                "supply on",
                "follows",
            }
        ),
        0.5,
    ),
    "esc-not-arming": Rightly(
        frozenset({"not started", "stalled", "stuck", "plausible", "follows"}), 1.5
    ),
    "esc-ignoring-zero": Rightly(frozenset({"follows", "bounds", "plausible"})),
    "stop-loop-open": Rightly(
        frozenset({"stop loop", "refused: stop loop open", "nobody there"}),
        SERVO_S + 0.001,
    ),
}


def names_for(kinds: frozenset[str]) -> frozenset[str]:
    """Every name that is right for a set of faults together."""
    return frozenset().union(*(KINDS[kind].names for kind in kinds))
