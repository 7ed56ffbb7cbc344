"""What a stand can and cannot protect against, in sentences for whoever is there."""

from dataclasses import dataclass

from daq.link.columns.description import Description
from daq.link.messages import Ability
from daq.link.session import Stand
from ui.cautions import lacks_of


@dataclass(frozen=True, slots=True)
class Protection:
    """One thing that a stand does, or does not do.

    Attributes:
        has: whether it does.
        sentence: what that means.
    """

    has: bool
    sentence: str


_SENTENCES = (
    (
        Ability.LEASE,
        "Stops by itself when this program, the machine or the cable falls silent.",
        "Does NOT stop by itself when this program or the cable falls silent.",
    ),
    (
        Ability.LIMITS,
        "Checks the limits on every sample, itself.",
        "Has no limits of its own: they are checked here, later.",
    ),
    (
        Ability.STOP_LOOP,
        "Watches a stop loop: a guard or button that opens it stops the motor.",
        "Has no stop loop: only a plug or a program stops the motor.",
    ),
    (
        Ability.PULSE_READBACK,
        "Reads its own pulse back, so that the guards can be seen to cut it.",
        "Does not read its pulse back: the guards are proven at zero throttle.",
    ),
    (
        Ability.WATCHDOG,
        "Has a hardware watchdog: a firmware that hangs is reset and stays locked.",
        "Tells of no hardware watchdog: a firmware that locks up may hold its pulse.",
    ),
)

ALWAYS = (
    "No software protects against a propeller that throws a blade, a pack that burns, "
    "or a hand in the disc."
)


def protections(
    stand: Stand, description: Description | None = None
) -> list[Protection]:
    """What a stand does and does not do to protect.

    Args:
        stand: who is there.
        description: of a stand that prints lines; None for any other.
    """
    if description is not None:
        return [
            Protection(has=False, sentence=words) for words in lacks_of(description)
        ]
    abilities = stand.identity.abilities
    told = [
        Protection(bit in abilities, yes if bit in abilities else no)
        for bit, yes, no in _SENTENCES
    ]
    measured = {page.name for page in stand.channels}
    for name, means in (
        ("speed", "a thrown propeller or a stalled motor is seen later, by current"),
        ("winding-temp", "a motor that gets too hot is not seen"),
    ):
        if name not in measured:
            told.append(Protection(has=False, sentence=f"Has no {name}: {means}."))
    return told
