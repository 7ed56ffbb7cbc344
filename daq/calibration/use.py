"""Whether a calibration fits a channel on a day, and what time and heat add to it.

A calibration of another stand or channel is refused, one that is old, or of the future,
is told. What drifts between a calibration and its use is a bound by common practice,
since no two hobby stands drift alike; a passed check starts it anew.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from daq.calibration.value import Calibration, Cause
from daq.errors import InputFault

#: How long a calibration of an instrument is usually relied on (common practice; ISO
#: 376 allows 26 months and ASTM E74 two years for force-measuring instruments of
#: known stability, both from memory).
OLD_DAYS: Final = 365.0
DAY_S: Final = 86_400.0
YEAR_DAYS: Final = 365.25
ROOT_3: Final = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What a kind of sensor drifts by, half-widths (common practice, no source).

    Attributes:
        year_rel: in a year.
        kelvin_rel: for a kelvin.
        room_k: how far a room's temperature may be from that of the calibration, where
            nobody wrote it down.
    """

    year_rel: float
    kelvin_rel: float
    room_k: float = 8.0


#: A glued bending beam; a shunt with its monitor; a divider of common resistors with
#: its reference.
STEADINESS: Final = {
    "N": Steadiness(year_rel=0.002, kelvin_rel=1e-4),
    "A": Steadiness(year_rel=0.002, kelvin_rel=1e-4),
    "V": Steadiness(year_rel=0.001, kelvin_rel=1e-4),
}
OLD_FACTOR: Final = 2.0


@dataclass(frozen=True, slots=True)
class Use:
    """A calibration as it serves on a day.

    Attributes:
        calibration: which.
        drift: what time and heat add.
        cautions: what has to be known, in sentences.
    """

    calibration: Calibration
    drift: Cause
    cautions: tuple[str, ...]


def fits(
    made: Calibration,
    channel: str,
    stand_id: int,
    specimen: str = "",
    *,
    simulated: bool = False,
) -> None:
    """Refuse a calibration of something else.

    Args:
        made: the calibration.
        channel: what is to be read by it.
        stand_id: of the stand.
        specimen: which simulated stand, where that is known.
        simulated: whether it is one at all.

    Raises:
        InputFault: it is of another stand or channel.
    """
    subject = made.subject
    if subject.channel != channel:
        raise InputFault(
            f"The calibration {made.id} is of {subject.channel}, not of {channel}."
        )
    if subject.simulated != simulated:
        kinds = ("a real stand", "a simulated one")
        raise InputFault(
            f"The calibration {made.id} is of {kinds[subject.simulated]}, and this is "
            f"{kinds[simulated]}."
        )
    if (subject.stand_id, subject.specimen) != (stand_id, specimen):
        theirs = _stand(subject.stand_id, subject.specimen)
        raise InputFault(
            f"The calibration {made.id} is of {theirs}, and this is "
            f"{_stand(stand_id, specimen)}: calibrate this one."
        )


def _stand(stand_id: int, specimen: str) -> str:
    return f"stand {stand_id:08x}" + (f" ({specimen})" if specimen else "")


def used(
    made: Calibration,
    at_utc: str,
    temperature_c: float | None = None,
    checked_utc: Sequence[str] = (),
) -> Use:
    """What it is worth on a day.

    Args:
        made: the calibration.
        at_utc: when the channel is read, ISO 8601.
        temperature_c: of the room then; None where nobody wrote it down.
        checked_utc: when a short check passed.

    Raises:
        InputFault: a date that is none.
    """
    at = moment(at_utc, "the run's date")
    made_at = moment(made.made_utc, f"the date of the calibration {made.id}")
    checks = [moment(text, "the date of a check") for text in checked_utc]
    known = max([made_at, *(check for check in checks if made_at < check <= at)])
    days = (at - known).total_seconds() / DAY_S
    steady = STEADINESS[made.subject.unit]
    age = steady.year_rel * abs(days) / YEAR_DAYS
    cautions = []
    if days > OLD_DAYS:
        age *= OLD_FACTOR
        cautions.append(
            f"The calibration {made.id} was {days:.0f} days old; calibrate every "
            f"{OLD_DAYS:.0f} days (common practice), or check it with one mass."
        )
    elif days < 0.0:
        cautions.append(
            f"The calibration {made.id} was made {-days:.0f} days after the run; "
            "whether the sensor was the same then is for you to know."
        )
    then = made.facts.get("temperature_c")
    if temperature_c is not None and isinstance(then, int | float):
        apart_k = abs(temperature_c - float(then))
    else:
        apart_k = steady.room_k
    heat = steady.kelvin_rel * apart_k
    u_rel = math.hypot(age, heat) / ROOT_3
    return Use(
        made,
        Cause("drift", (1,), ((u_rel,),), math.inf, words="age and temperature"),
        tuple(cautions),
    )


def moment(text: str, what: str) -> datetime:
    """A date out of a record.

    Raises:
        InputFault: it is none.
    """
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputFault(f'{what} is "{text[:40]}", which is no date.') from None
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def beyond_rel(made: Calibration) -> float:
    """What the scale may be wrong by beyond its range, as a share of the way there.

    Half a per cent at least; more where it was seen not to be straight.
    """
    straight = max((max(s.u_si) for s in made.strays), default=0.0)
    return max(0.005, 3.0 * straight / made.largest_si)
