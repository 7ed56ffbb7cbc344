"""What a comparison says, in sentences with their figures.

Command line, page and window show the same ones. A verdict names the specimens that
were on the stand and never speaks of a model. Nothing here computes a figure.
"""

import math

from daq.analysis.compare import Difference
from daq.analysis.findings import in_words
from daq.analysis.remounting import runs_needed
from daq.analysis.rounding import figure, in_passing, with_interval
from daq.units import n_to_gf

#: How a quantity is read, and what it is matched at.
READ = {
    "specific thrust": ("gave {} g/W", "at the same thrust"),
    "thrust": ("gave {} thrust", "at the same throttle on the same bus voltage"),
}
#: What is held while the air changes, and how the quantity goes with its density.
IN_AIR = {
    "specific thrust": (
        "at the same thrust it goes with the density to a power between 1/4 and 1/2"
    ),
    "thrust": (
        "at the same throttle it goes with the density to a power between 1/3 and 1"
    ),
}
#: What scale factors, and different air, leave over is told from this much on.
TOLD_PERCENT = 0.1
#: Half of a 95 % interval in standard uncertainties, for rounding.
COVERED = 2.0


def verdict(difference: Difference, first: str, second: str) -> str:
    """Whether the two can be told apart, and by how much they differ."""
    what, matched = READ[difference.what]
    value, low, high = (100 * part for part in difference.mean)
    over = f"on average from {_span(difference)}"
    if difference.verdict == "no verdict":
        half = 100 * difference.alone
        return (
            f"No verdict on {difference.what}: {second} {what.format(_more(value))} "
            f"than {first} {matched} by {in_passing(abs(value), half)} %, {over}, but "
            "each was mounted once, and what mounting again does is not known."
        )
    size = abs(value)
    limits = (low, high) if value >= 0 else (-high, -low)
    told = with_interval(size, *limits, "%", 0.95)
    if difference.verdict == "cannot tell":
        return (
            f"{second} and {first} cannot be told apart in {difference.what} "
            f"{matched}: the difference was {_signed(value, low, high)}, {over}"
            f"{_all_the_same(low, high)}."
        )
    if low <= 0 <= high or (value >= 0) != (difference.verdict == "more"):
        clear = difference.where or (float(difference.x[0]), float(difference.x[-1]))
        return (
            f"{second} {what.format(difference.verdict)} than {first} {matched} "
            f"{_clear(difference, *clear)}, though not over the whole range: "
            f"{over} the difference was {_signed(value, low, high)}."
        )
    where = ""
    if difference.where is not None and not _whole(difference):
        where = f"; clear {_clear(difference, *difference.where)}"
    return (
        f"{second} {what.format(_more(value))} than {first} {matched}, by {told} "
        f"{over}{where}."
    )


def rests_on(difference: Difference) -> str:
    """What the verdict rests on, a sentence."""
    count = sum(difference.runs)
    runs = f"{count} runs ({difference.runs[0]} and {difference.runs[1]})"
    found = difference.reproducibility
    if found is None:
        return (
            f"It rests on {runs}; none is a second mounting of the same article."
            f"{_of_stands(difference)}{_in_one_air(difference)}"
        )
    left = 100 * difference.shared_u
    shared = "scale factors cancel"
    if left > TOLD_PERCENT:
        causes = ["scale factors"]
        causes += [] if difference.made_up is None else ["air"]
        causes += [] if difference.stands is None else ["stands"]
        share = in_passing(left, left)
        shared = f"{in_words(causes)} leave {share} % that no run takes away"
    return (
        f"It rests on {runs}. Mounted again, an article differs from itself by "
        f"{100 * found.sd_rel:.2g} % (one standard deviation, from {found.words}, "
        f"{found.dof:.0f} {_degrees(found.dof)} of freedom); {shared}."
        f"{_of_stands(difference)}{_in_one_air(difference)}"
    )


def _of_stands(difference: Difference) -> str:
    """What a round robin knew of the stands, sentences after others."""
    stands = difference.stands
    if stands is None:
        return ""
    left = in_passing(100 * stands.u, 100 * stands.u)
    said = ""
    if stands.known:
        moved = figure(100 * stands.moved, 100 * COVERED * stands.u)
        said = (
            f" Biases of {stands.known} of the stands, known from a round robin, are "
            f"taken off, which moved the difference by {moved} %."
        )
    if stands.unknown:
        count = f"{stands.unknown} {'stand' if stands.unknown == 1 else 'stands'}"
        said += (
            f" Of {count} no bias is known, not in this calibration: what stands "
            "differ by stands for it."
        )
    return f"{said} What is not known of the stands leaves {left} %."


def _in_one_air(difference: Difference) -> str:
    """By how much making up for different air moved it, a sentence after others."""
    made = difference.made_up
    if made is None:
        return ""
    if 100 * abs(made.moved) < TOLD_PERCENT:
        return " The air was the same, by what was noted."
    moved = figure(100 * made.moved, 100 * COVERED * made.u)
    air = figure(100 * abs(made.apart), 1.0)
    way = "denser" if made.apart > 0 else "thinner"
    density = f"{made.density_kg_m3:.3f} kg/m\N{SUPERSCRIPT THREE}"
    return (
        f" The second's air was {air} % {way}; all are restated to {density}, the mean "
        f"of the runs ({IN_AIR[difference.what]}), which moved the difference by "
        f"{moved} %."
    )


def to_settle(difference: Difference, matters: float) -> str:
    """How many runs would settle a difference that matters, a sentence.

    Args:
        difference: The comparison.
        matters: Relative difference that matters, above zero.
    """
    percent = f"{100 * matters:g} %"
    found = difference.reproducibility
    if found is None:
        return (
            "Mount each article at least twice more, taking turns (first, second, "
            "second, first), to learn what mounting does."
        )
    number = runs_needed(found.sd_rel, difference.shared_u, matters)
    if number is None and difference.stands is not None:
        return (
            f"No number of runs would settle a difference of {percent}: what is not "
            "known of stands and scales is larger. Let the article of the round robin "
            "be mounted more often at each stand, or use one stand."
        )
    if number is None:
        return (
            f"No number of runs would settle a difference of {percent}: what the two "
            "do not share of scale and stand is larger. Use one stand and one "
            "calibration."
        )
    if number <= min(difference.runs):
        return f"A difference of {percent} would have been found four times in five."
    return (
        f"To find a difference of {percent} four times in five it would take {number} "
        "runs of each, mounted again each time."
    )


def _all_the_same(low: float, high: float) -> str:
    """Why it cannot be told though the mean, by itself, leaves zero out."""
    if low <= 0 <= high:
        return ""
    return "; the band over the whole range, which decides, leaves zero out nowhere"


def _degrees(dof: float) -> str:
    return "degree" if round(dof) == 1 else "degrees"


def _more(value: float) -> str:
    return "more" if value >= 0 else "less"


def _signed(value: float, low: float, high: float) -> str:
    return with_interval(value, low, high, "%", 0.95)


def _span(difference: Difference) -> str:
    return _from_to(difference, float(difference.x[0]), float(difference.x[-1]))


def _from_to(difference: Difference, low: float, high: float) -> str:
    if difference.what == "specific thrust":
        return f"{figure(n_to_gf(low))} to {figure(n_to_gf(high))} gf"
    return f"{figure(low)} to {figure(high)} V at the motor"


def _clear(difference: Difference, low: float, high: float) -> str:
    """Where a band leaves zero out; a single point is not a stretch."""
    words = _from_to(difference, low, high)
    return f"around {words.partition(' to ')[2]}" if low == high else f"from {words}"


def _whole(difference: Difference) -> bool:
    if difference.where is None:
        return False
    ends = (float(difference.x[0]), float(difference.x[-1]))
    return all(
        math.isclose(one, end) for one, end in zip(difference.where, ends, strict=True)
    )
