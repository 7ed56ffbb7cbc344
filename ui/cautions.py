"""The cautions and the checklist before a spin: shown in words, never as art.

Common practice of the bench, no source; local rules, the makers' instructions
and qualified people come first.
"""

from typing import Final

CAUTION: Final = (
    "Propellers cut and throw blades; lithium packs burn; small motors overheat in "
    "seconds. gramwatt is not a safety-rated system and its STOP is no emergency "
    "stop: keep a plug to pull or a hard-wired stop within reach. Follow local "
    "rules, the makers' instructions and the advice of qualified people."
)

CHECKLIST: Final[tuple[tuple[str, str], ...]] = (
    ("guard", "The guard is fitted and closed."),
    ("eyes", "Everyone in the room wears eye protection."),
    ("plane", "Nobody is, or will be, in the plane of the disc or in front of it."),
    ("clamped", "The stand is clamped down and nothing loose lies near it."),
    ("screwed", "Motor and propeller are screwed down and the propeller is whole."),
    ("direction", "Rotation and thrust direction were checked at idle."),
    ("pack", "The pack is undamaged, charged within its limits, in a fire-safe place."),
    ("cut", "A means to cut the power is within reach."),
    ("fire", "A means to put out a fire is within reach."),
)
