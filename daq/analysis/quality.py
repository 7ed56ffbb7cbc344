"""Findings about the run itself: what did not settle, what was lost.

Each function writes one finding, or None where there is nothing to say. A run
that was tripped, or that has no dwell at all, is said to be so in words.
"""

import math
from collections.abc import Callable, Sequence

from daq.analysis.findings import (
    Evidence,
    Finding,
    channels_of,
    count_rests,
    in_words,
    remark_of,
)
from daq.analysis.measured import COVERAGE, t_factor
from daq.analysis.plateaus import ChannelMeans
from daq.analysis.rounding import in_passing
from daq.analysis.zeros import NO_REST_SHARE, ONE_REST_SHARE
from daq.units import n_to_gf


def no_dwell(evidence: Evidence) -> Finding | None:
    """Said when nothing was held long enough to average, nor read in another way."""
    if len(evidence.plateaus) or evidence.glides or evidence.bursts:
        return None
    if evidence.emptied is not None:
        return None
    return _finding(
        evidence,
        "no-dwell",
        "The run has no dwell that lasted long enough to settle, so there is no "
        "plateau, no curve and no figure.",
        0.0,
        evidence.plateaus.skipped,
    )


def unsettled(evidence: Evidence) -> Finding | None:
    """Plateaus that were still on the move, or left their level for a while."""
    if not len(evidence.plateaus):
        return None
    moving = _named(evidence, lambda means: list(means.unsettled))
    left = _named(evidence, lambda means: [w.excursion for w in means.windows])
    sentence = "Every channel had settled at every plateau."
    cautions: list[str] = []
    if moving:
        sentence = f"These never settled: {_listed(moving)}."
        cautions.append("the trend inside each window is in the intervals")
    if left:
        sentence += (
            f" {'These' if moving else 'But these'} left their level for a while "
            f"and came back: {_listed(left)}."
        )
        cautions.append(
            "readings away from the level lasted too long for a glitch of the "
            "converter, so they are in the mean and in its interval"
        )
    count = sum(len(labels) for found in (moving, left) for labels in found.values())
    return _finding(
        evidence,
        "unsettled",
        sentence,
        float(count),
        tuple(cautions),
        channels=tuple({**moving, **left}) or None,
    )


def _named(
    evidence: Evidence, flags: Callable[[ChannelMeans], Sequence[bool]]
) -> dict[str, list[str]]:
    """Plateaus with a flag, as a person would point at them, by channel."""
    found = {
        name: [
            evidence.plateaus.label(index)
            for index, flag in enumerate(flags(means))
            if flag
        ]
        for name, means in evidence.plateaus.channels.items()
    }
    return {name: labels for name, labels in found.items() if labels}


def _listed(named: dict[str, list[str]]) -> str:
    return "; ".join(f"{name} at {in_words(labels)}" for name, labels in named.items())


def lost_readings(evidence: Evidence) -> Finding | None:
    """Readings that were missing or rejected inside the plateaus."""
    if not len(evidence.plateaus):
        return None
    channels = evidence.plateaus.channels
    read = sum(int(means.count.sum()) for means in channels.values())
    lost = sum(int(means.lost.sum()) for means in channels.values())
    glitches = sum(int(means.glitches.sum()) for means in channels.values())
    total = read + lost + glitches
    if lost + glitches == 0:
        sentence = f"None of {total} readings in the plateaus was missing or rejected."
    else:
        worst = [
            f"{name}: {int(means.lost.sum())} missing, "
            f"{int(means.glitches.sum())} rejected as converter glitches"
            for name, means in channels.items()
            if means.lost.sum() + means.glitches.sum()
        ]
        sentence = (
            f"{lost} of {total} readings in the plateaus were missing and "
            f"{glitches} were rejected as converter glitches ({'; '.join(worst)})."
        )
    return _finding(evidence, "lost-readings", sentence, float(lost + glitches), ())


def zero_of_thrust(evidence: Evidence) -> Finding | None:
    """How far the zero of thrust moved between the rests."""
    means = evidence.plateaus.channels.get("thrust")
    if means is None:
        return None
    rests = means.rests
    count = rests.value.size
    if count == 0:
        sentence = (
            f"No rest gave a zero of thrust; {evidence.zero_stood_in('thrust')} was "
            f"used, with a bound of {100 * NO_REST_SHARE:g} % of the largest thrust "
            "for what it may have moved since."
        )
    elif count == 1:
        sentence = (
            "One rest gave a zero of thrust, so its drift is unknown; a bound of "
            f"{100 * ONE_REST_SHARE:g} % of the largest thrust stands in for it."
        )
    else:
        high, low = int(rests.value.argmax()), int(rests.value.argmin())
        span_gf = n_to_gf(float(rests.value[high] - rests.value[low]))
        noise_gf = n_to_gf(math.hypot(float(rests.u[high]), float(rests.u[low])))
        half_gf = float(t_factor(math.inf, COVERAGE)) * noise_gf
        sentence = (
            f"The zeros of thrust from {count_rests(count)} lie within "
            f"{in_passing(span_gf, half_gf)} gf."
        )
        return _finding(
            evidence, "zero-of-thrust", sentence, span_gf, (), "gf", ("thrust",)
        )
    return _finding(
        evidence, "zero-of-thrust", sentence, None, (), channels=("thrust",)
    )


def missed_captures(evidence: Evidence) -> Finding | None:
    """Fast captures that were asked for and did not come."""
    missed = evidence.missed
    if not missed:
        return None
    return remark_of(
        "captures-missed", " ".join(missed), float(len(missed)), "", (), ()
    )


def unused(evidence: Evidence) -> Finding | None:
    """Dwells and rests that could not be used."""
    skipped = evidence.plateaus.skipped
    if not skipped or not len(evidence.plateaus):
        return None
    stretches = "1 stretch" if len(skipped) == 1 else f"{len(skipped)} stretches"
    return _finding(
        evidence,
        "unused",
        f"{stretches} of the run could not be used.",
        float(len(skipped)),
        skipped,
    )


def _finding(
    evidence: Evidence,
    name: str,
    sentence: str,
    value: float | None,
    cautions: tuple[str, ...],
    unit: str = "",
    channels: tuple[str, ...] | None = None,
) -> Finding:
    """A finding about some channels, or about all of them."""
    about = tuple(evidence.plateaus.channels) if channels is None else channels
    told = (*cautions, *evidence.notes)
    return remark_of(name, sentence, value, unit, channels_of(about), told)
