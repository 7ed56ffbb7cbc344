"""The cautions and the checklist before a spin: in words; a drawing stands only beside.

Common practice of the bench, no source; local rules, the makers' instructions
and qualified people come first.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from daq.link.columns.description import Description
from protocols.last_word import NONE_HERE, THERE_IS_ONE
from protocols.plan import Segment
from protocols.rules import Burst
from protocols.task import Task
from protocols.unprotected import lacks

CAUTION: Final = (
    "Propellers cut and throw blades; lithium packs burn; small motors overheat in "
    "seconds. gramwatt is not a safety-rated system and its STOP is no emergency "
    "stop: keep a plug to pull or a hard-wired stop within reach. Follow local "
    "rules, the makers' instructions and the advice of qualified people."
)

HANDS: Final = {
    "plug out": (
        "PULL THE ARMING PLUG. The guards are proven with the motor's supply off; "
        "the stand goes on when it sees no voltage."
    ),
    "loop open": (
        "OPEN THE STOP LOOP: open the guard, or press the hard-wired stop. The stand "
        "has to see it."
    ),
    "loop closed": "CLOSE THE STOP LOOP again: close the guard, release the stop.",
    "plug in": (
        "PUT THE ARMING PLUG IN, from behind the disc, and step back. The stand goes "
        "on when it sees the voltage. The motor does not turn yet."
    ),
}
UNPROTECTED: Final = "This stand cannot stop its motor by itself."
HAND_ON_PLUG: Final = (
    "This stand cannot stop its motor by itself. If the cable or this machine fails, "
    "only a hand stops it: somebody keeps one on the plug or the switch that cuts the "
    "motor's supply for the whole spin, outside the disc's plane."
)
HAND_WORDS: Final = "my hand is on the plug"
"""What has to be typed for such a stand, so that nobody says it in passing."""
START_LOAD: Final = (
    "The load is off, and I switch it when it says so: nothing else can switch it off."
)
CUES: Final = {
    "load": "SWITCH THE LOAD ON: {which}, for {on_s:.0f} s.",
    "rest": "LOAD OFF for {on_s:.0f} s.",
}
START: Final = (
    "Everybody is clear and the motor may turn, first slowly, to prove that it stops."
)


@dataclass(frozen=True, slots=True)
class Item:
    """One sentence that a person acknowledges.

    Attributes:
        name: stable, for the record.
        sentence: in plain words.
    """

    name: str
    sentence: str


_ALWAYS: Final = (
    Item("guard", "The guard is fitted and closed."),
    Item("eyes", "Everyone in the room wears eye protection."),
    Item("plane", "Nobody is, or will be, in the plane of the disc or in front of it."),
    Item("clamped", "The stand is clamped down and nothing loose lies near it."),
)
_PROPELLER: Final = (
    Item("screwed", "Motor and propeller are screwed down and the propeller is whole."),
    Item("direction", "Rotation and thrust direction were checked at idle."),
)
_NO_PROPELLER: Final = (
    Item("bare", "The propeller is OFF, and the motor is screwed down."),
)
_LOAD: Final = (
    Item(
        "motor out", "The motor cannot turn: its propeller is OFF or it is unplugged."
    ),
    Item(
        "load",
        "The load stands behind the plug and the current sensor, bears the pack's "
        "voltage and its own heat, touches nothing that burns, and is OFF.",
    ),
)
_PACK: Final = (
    Item(
        "pack",
        "The pack is undamaged, charged within its limits, in a fire-safe place.",
    ),
)
_MEANS: Final = (
    Item("cut", "A means to cut the power is within reach."),
    Item("fire", "A means to put out a fire is within reach."),
)


def lacks_of(stand: Description) -> tuple[str, ...]:
    """What a stand that prints lines lacks, and what this system does besides."""
    return lacks(stand) if THERE_IS_ONE else (*lacks(stand), NONE_HERE)


def checklist_for(task: Task, timed: Sequence[str] = ()) -> tuple[Item, ...]:
    """The checklist of one task.

    Args:
        task: what is going to be done.
        timed: parts that a person lets go to their short-time rating.
    """
    fixed = _NO_PROPELLER if task.plan.propeller_off else _PROPELLER
    if task.plan.by_hand:
        fixed = _LOAD
    bursts = {burst.part: burst for burst in task.rules.bursts}
    beyond = tuple(Item(f"timed {part}", _beyond(part, bursts)) for part in timed)
    return (*_ALWAYS, *fixed, *_PACK, *_MEANS, *beyond)


def start_of(task: Task) -> str:
    """What a person says last before it begins."""
    return START_LOAD if task.plan.by_hand else START


def cue_of(segment: Segment, loads: int) -> str:
    """What a hand has to do now, while loads are switched by hand.

    Args:
        segment: of the plan, that begins.
        loads: how many there are.
    """
    size = {0: ", the smallest", loads - 1: ", the largest"}.get(segment.step, "")
    which = f"load {segment.step + 1} of {loads}{size if loads > 1 else ''}"
    return CUES[segment.kind].format(which=which, on_s=segment.duration_s)


def _beyond(part: str, bursts: Mapping[str, Burst]) -> str:
    """What going beyond a continuous rating means, for one part."""
    burst = next(b for name, b in bursts.items() if name.lower() == part.lower())
    return (
        f"The {burst.part} may go to {burst.short_a:g} A for {burst.short_s:g} s, "
        f"beyond the {burst.continuous_a:g} A that it bears for long: it gets hot, and "
        "somebody watches it for smoke and softening."
    )
