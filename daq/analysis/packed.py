"""Findings about the pack: what it loses inside, and what its printed rate is worth.

Each function writes one finding, or None where the run or the article has not what it
takes. Only picks, converts and words; the pack was fitted in ``pack``.
"""

from typing import Final

from daq.analysis.findings import (
    Evidence,
    Finding,
    bare_text,
    finding_of,
    reading,
    text_of,
)
from daq.analysis.measured import derived
from daq.analysis.pack import SLOW_TIMES_S, FittedPack, PackFit, without_plug
from daq.units import milli

CHANNELS: Final = ("voltage", "current")
IN_USE: Final = (
    "the direct-current value in use, by steps of seconds (in the manner of the "
    "direct-current method of IEC 61960-3, not at its currents and times); the 1 kHz "
    "value on data sheets is another and smaller one"
)
WITH_LEADS: Final = "the stand's leads up to where it reads voltage are in it"
AS_IT_WAS: Final = (
    "for this pack as charged and as warm as it was; a cold or old one has more"
)
FIRST_MOMENT: Final = (
    "in the first moment: held on, the slow part of the pack and the charge drawn take "
    "more"
)


def resistance(evidence: Evidence) -> Finding | None:
    """Resistance that acts at once, and once its slow part has grown."""
    pack = evidence.pack
    if pack is None:
        return None
    plug = evidence.plug
    left = without_plug(pack, plug.whole_ohm if plug else None)
    found = reading(pack.quick_ohm if left is None else left, 0, "milliohm", milli)
    whole = reading(pack.whole_ohm, 0, "milliohm", milli)
    if found is None or whole is None:
        return None
    parts = "with its leads, the plug taken off"
    if left is None:
        parts = "with leads and plug"
    said = f"The pack has {text_of(found)} at once, {parts}"
    if pack.slow_s is not None and left is None:
        said += (
            f", and {bare_text(whole)} once what follows slowly, in about "
            f"{pack.slow_s:.0f} s{_between(pack)}, has grown"
        )
    return finding_of(
        evidence,
        "pack-resistance",
        f"{said}.",
        found,
        (),
        CHANNELS,
        (WITH_LEADS, IN_USE, AS_IT_WAS),
    )


def _between(pack: PackFit) -> str:
    """The interval of the time constant, as far as it has ends."""
    if pack.slow_range_s is None:
        return ""
    low_s, high_s = pack.slow_range_s
    if low_s >= SLOW_TIMES_S[0] and high_s <= SLOW_TIMES_S[-1]:
        return f" (95 % interval {low_s:.0f} to {high_s:.0f} s)"
    if low_s >= SLOW_TIMES_S[0]:
        return f" (95 % interval from {low_s:.0f} s on)"
    if high_s <= SLOW_TIMES_S[-1]:
        return f" (95 % interval up to {high_s:.0f} s)"
    return " (which this run hardly shows)"


def to_the_floor(evidence: Evidence) -> Finding | None:
    """The current at which it sags to its floor, against its printed rate."""
    pack, fitted = evidence.pack, evidence.fitted_pack
    if pack is None or fitted is None:
        return None
    most = derived(
        lambda rest_v, ohm: (rest_v - fitted.floor_v) / ohm, pack.rest_v, pack.quick_ohm
    )
    found = reading(most, 0, "A", float)
    if found is None or found.value <= 0:
        return None
    return finding_of(
        evidence,
        "pack-floor-current",
        f"As it was charged, the pack ({fitted.name}) falls to its floor of "
        f"{fitted.floor_v:.4g} V at {text_of(found)}{_claimed(pack, fitted)}.",
        found,
        (),
        CHANNELS,
        (*_beyond(pack, found.value), FIRST_MOMENT, WITH_LEADS, AS_IT_WAS),
    )


def _claimed(pack: PackFit, fitted: FittedPack) -> str:
    if fitted.claim_a is None:
        return ""
    claim_a = fitted.claim_a
    left = derived(
        lambda rest_v, ohm: rest_v - ohm * claim_a, pack.rest_v, pack.quick_ohm
    )
    volt = reading(left, 0, "V", float)
    if volt is None:
        return ""
    a_cell = f"{volt.value / fitted.cells:.2f} V a cell"
    word = "cannot be told from its floor"
    if volt.low > fitted.floor_v:
        word = "is above its floor"
    elif volt.high < fitted.floor_v:
        word = "is below its floor"
    return (
        f"; at the {claim_a:g} A that its printed rate claims it would have "
        f"{bare_text(volt)} left, {a_cell}, which {word}"
    )


def _beyond(pack: PackFit, amp: float) -> tuple[str, ...]:
    if amp <= pack.highest_a:
        return ()
    return (
        f"extrapolated: it was seen to give {pack.highest_a:.3g} A at most, and this "
        "rests on more",
    )
