"""What a round robin says, in sentences with their figures.

Command line and page show the same ones. A stand is off against the others, not
against the truth, and the sentences never say more. Nothing here computes a figure.
"""

import math
from collections.abc import Mapping
from typing import Final

from daq.analysis.measured import COVERAGE, t_factor
from daq.analysis.precision import Deviation, Suspect
from daq.analysis.round_robin import FEW, RoundFound
from daq.analysis.rounding import figure, in_passing, with_interval
from daq.analysis.stand_found import CLAIMED, StandFound
from daq.units import n_to_gf

#: How a quantity is read, and where.
READ: Final = {
    "specific thrust": ("specific thrust", "at the same thrust"),
    "thrust": ("thrust", "at the same throttle on the same bus voltage"),
}
#: Beyond this z asks for action, and from the other on it warns (ISO 13528, 9.4).
Z_ACTION: Final = 3.0
Z_WARNING: Final = 2.0
#: Chance below which stands differ by more than they claim.
SELDOM: Final = 0.05


def head(found: RoundFound) -> str:
    """What was held against each other, and where."""
    what, matched = READ[found.what]
    count = sum(stand.runs for stand in found.stands)
    return (
        f"{what[:1].upper()}{what[1:]} {matched}, from {_span(found)}: {count} runs on "
        f"{len(found.stands)} stands."
    )


def agreement(found: RoundFound) -> list[str]:
    """How well the stands agree."""
    precise = found.precision
    if precise.within is None or precise.between is None or precise.overall is None:
        return [
            "No stand mounted the article twice, so that nobody knows what mounting "
            "does, and no bias has an interval: mount it three times at each stand.",
            "The stands' results scatter by "
            f"{_sd(precise.of_means, 'mounting and all')}.",
        ]
    dof = f"{precise.within.dof:.0f} degrees of freedom"
    return [
        "Mounted again on one stand the article differed from itself by "
        f"{_sd(precise.within, 'repeatability s_r', dof)}.",
        f"Beside that the stands differ by {_sd(precise.between, 's_L')}.",
        "A single run on whichever stand is off by "
        f"{_sd(precise.overall, 'reproducibility s_R')}.",
        *_pair(found),
    ]


def _pair(found: RoundFound) -> list[str]:
    """How well two stands are known against each other, where the consensus cancels."""
    two = [one.own_u for one in found.stands]
    half = 100 * float(t_factor(found.stands[0].own_dof)) * math.sqrt(2.0) * max(two)
    return [
        "How far two of these stands are apart is known to "
        f"\N{PLUS-MINUS SIGN}{figure(half, half)} % or better, since the consensus "
        "cancels; that is what a comparison of runs on both carries."
    ]


def stand_words(one: StandFound, name: str) -> str:
    """One stand's bias, whether its claim holds it, and how it goes along the range."""
    return " ".join((_bias(one, name), _claim(one), *_along(one))).rstrip()


def doubts(found: RoundFound, names: Mapping[str, str]) -> list[str]:
    """What must be known to read the rest.

    Args:
        found: what was found.
        names: what each scale is called.
    """
    called = [names[stand.scale] for stand in found.stands]
    said = _few(found)
    said += [_suspect(one, called) for one in found.suspects]
    said += _without(found)
    said += _closing(found, names)
    said += _claims(found)
    if not found.one_air:
        said.append(
            "The air was not noted for every run: what it did is in the stands' biases."
        )
    return said


# ---------------------------------------------------------------- one stand


def _bias(one: StandFound, name: str) -> str:
    value, low, high = (100 * part for part in one.ratio)
    runs = f"by {one.runs} {'run' if one.runs == 1 else 'runs'}"
    if not math.isfinite(low + high):
        told = f"{_signed(in_passing(value, abs(value)), value)} %"
        return f"{name} reads {told} against the consensus, {runs}, without interval."
    told = _signed(with_interval(value, low, high, "%", COVERAGE), value)
    return f"{name} reads {told} against the consensus, {runs}."


def _signed(text: str, value: float) -> str:
    return f"+{text}" if value >= 0 else text


def _claim(one: StandFound) -> str:
    claim = 100 * CLAIMED * one.claim_u
    claimed = f"\N{PLUS-MINUS SIGN}{figure(claim, claim)} %"
    score = f"E_n {figure(one.e_n, 0.1)}, z {figure(one.z, 0.1)}"
    if one.claim == "holds":
        return f"Its scales claim {claimed}, which holds that ({score})."
    if one.claim == "cannot tell":
        return (
            f"Its scales claim {claimed}, and the bias lies beyond it, but this round "
            f"cannot tell whether it really does ({score})."
        )
    return (
        f"Its scales claim {claimed}, and that does NOT hold its bias ({score}): "
        "calibrate it again, and look at how it is mounted and what stands in the jet."
    )


def _along(one: StandFound) -> list[str]:
    along = one.along
    if along is None or not along.changes:
        return []
    first, last = (100 * math.expm1(one.log + s * along.rise) for s in (-1, 1))
    half = 100 * 2 * along.u
    return [
        f"It is not one factor: {figure(first, half)} % at the lower end of the range "
        f"and {figure(last, half)} % at the upper one, which a zero, a lever or a bent "
        "scale does; used as one factor it is that much less certain."
    ]


# ---------------------------------------------------------------- the round


def _few(found: RoundFound) -> list[str]:
    stands = len(found.stands)
    if stands == 2:
        return ["Two stands show how far they are apart, and not which of them is off."]
    if stands < FEW:
        return [
            f"{stands} stands say little of how stands differ, which is why the "
            f"intervals are wide: {FEW} or more make a round worth its postage."
        ]
    return []


def _suspect(one: Suspect, called: list[str]) -> str:
    names = " and ".join(called[place] for place in one.places)
    several = len(one.places) > 1
    is_a = f"are {one.level}s" if several else f"is {_a(one.level)}"
    chance = f"chance {100 * one.p:.2g} %" if one.p >= 1e-4 else "chance below 0.01 %"
    if one.test == "Cochran":
        return (
            f"{names} {is_a} in scatter by Cochran's test ({chance}): look at what is "
            "loose there. Nothing was left out; its bias goes by its own scatter."
        )
    return (
        f"{names} {is_a} by Grubbs' test ({chance}), off all the others. Nothing was "
        "left out; the consensus is drawn to the middle, so that the others' biases "
        "hardly feel it."
    )


def _a(level: str) -> str:
    return f"an {level}" if level.startswith("o") else f"a {level}"


def _without(found: RoundFound) -> list[str]:
    left = found.without
    if left is None or left.within is None or left.overall is None:
        return []
    return [
        f"Without the outliers s_r would be {_sd(left.within)} and s_R "
        f"{_sd(left.overall)}."
    ]


def _closing(found: RoundFound, names: Mapping[str, str]) -> list[str]:
    closing = found.closing
    if closing is None:
        return [
            "No stand spun the article at first and again at last, so that nobody "
            "knows whether it changed on its way."
        ]
    name = names[closing.scale]
    value, low, high = (100 * part for part in closing.ratio)
    if closing.changed is None:
        return [
            f"{name} spun it at first and again at last: {figure(value, 0.1)} % apart, "
            "and nothing says what mounting alone does."
        ]
    told = with_interval(value, low, high, "%", COVERAGE)
    drift = 100 * found.drift_u
    if closing.changed:
        return [
            f"THE ARTICLE CHANGED on its way: at last {name} read {told} against what "
            "it read at first. When it did is not known, so that every bias carries "
            f"{figure(drift, drift)} % for it: look at blades, shaft and bell before "
            "it goes on."
        ]
    return [
        f"The article came home as it left: at last {name} read {told} against what it "
        "read at first."
    ]


def _claims(found: RoundFound) -> list[str]:
    chance = found.more_than_claimed
    if not chance < SELDOM:
        return []
    between = found.precision.between
    size = f" by {_sd(between)}" if between is not None else ""
    told = 100 * found.claimed
    return [
        f"Together the stands differ{size}, more than the {figure(told, told)} % (one "
        f"standard deviation) that they claim of their scales explains (chance "
        f"{100 * chance:.2g} %): there are causes that no calibration shows."
    ]


# ---------------------------------------------------------------- figures


def _sd(found: Deviation, *more: str) -> str:
    """A standard deviation with its interval, and what else belongs beside it."""
    sd, low, high = (100 * part for part in (found.sd, found.low, found.high))
    # The limits are told to the place that the value has.
    half = sd if sd > 0 else high
    interval = (
        f"{100 * COVERAGE:g} % interval {figure(low, half)} to {figure(high, half)} %"
    )
    name, *rest = more or ("",)
    return f"{figure(sd, half)} % ({'; '.join(filter(None, (name, interval, *rest)))})"


def _span(found: RoundFound) -> str:
    low, high = float(found.x[0]), float(found.x[-1])
    if found.what == "specific thrust":
        return f"{figure(n_to_gf(low))} to {figure(n_to_gf(high))} gf"
    return f"{figure(low)} to {figure(high)} V at the motor"
