"""A comparison in words and as plain values: the same for terminal, page and window.

Nothing here reads a run or computes a figure.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from daq.analysis.choice import Candidate
    from ui.choosing import Chosen
    from ui.comparing import Comparison


def learned_words(comparison: Comparison) -> list[str]:
    """What mounting again does on this stand, in sentences."""
    if not comparison.learned:
        return [_nothing_learned(comparison)]
    return [
        f"Mounted again, an article differed from itself by {100 * found.sd_rel:.2g} % "
        f"in {quantity} (one standard deviation, from {found.words}, {found.dof:.0f} "
        "degrees of freedom)."
        for quantity, found in comparison.learned.items()
    ]


def _nothing_learned(comparison: Comparison) -> str:
    scales = {one.scale for group in comparison.groups for one in group.mountings}
    if len(scales) > 1:
        return (
            "These are runs of one article on different stands: that shows how the "
            "stands differ, not what mounting again does."
        )
    return "Nothing was mounted again, so there is nothing to learn from."


def noise_words(comparison: Comparison) -> list[str]:
    """Whether articles differ in supply noise, in sentences."""
    from daq.analysis.noise_apart import noise_verdict

    first = comparison.groups[0].name
    return [
        noise_verdict(found, first, name)
        for name, several in comparison.noises.items()
        for found in several
    ]


def unseen_words(comparison: Comparison) -> tuple[str, ...]:
    """What the captures say nothing of, in the band that is told first."""
    from daq.analysis.noised import cannot_see

    every = [found for several in comparison.noises.values() for found in several]
    if not every:
        return ()
    widest = max(every, key=lambda found: found.band_hz[1])
    highest_hz = widest.band_hz[1]
    return cannot_see(widest.band_hz, 0.5 / highest_hz)


def value_words(chosen: Chosen, candidate: Candidate) -> str:
    """An article's value with its interval."""
    from daq.analysis.measured import COVERAGE
    from daq.analysis.rounding import with_interval

    low, high = candidate.shown.interval(COVERAGE)
    value = float(candidate.shown.value[0])
    # A unit of several words is said once.
    unit = "" if " " in chosen.unit else chosen.unit
    told = with_interval(
        chosen.scale * value,
        chosen.scale * float(low[0]),
        chosen.scale * float(high[0]),
        unit,
        COVERAGE,
    )
    return told if unit else told.replace(" (", f" {chosen.unit} (", 1)


def chosen_words(chosen: Chosen) -> str:
    """Which article does best, and which cannot be told from it."""
    from daq.analysis.findings import in_words

    if chosen.choice is None:
        return f"Which {chosen.question}: only one article says."
    best = chosen.candidates[chosen.choice.best].article
    if not chosen.choice.told:
        return (
            f"Which {chosen.question}: {best} by what was measured, but nothing was "
            f"{chosen.again}, so it cannot be told."
        )
    tied = [chosen.candidates[place].article for place in chosen.choice.tied]
    if not tied:
        return f"Which {chosen.question}: {best}."
    return (
        f"Which {chosen.question}: {best} by what was measured, but "
        f"{in_words(tied)} cannot be told from {best}."
    )


def to_dict(comparison: Comparison, matters: float) -> dict[str, Any]:
    """The comparison for JSON.

    Args:
        comparison: what was found.
        matters: relative difference that matters, for how many runs would settle it.
    """
    from daq.analysis.noise_apart import noise_verdict
    from daq.analysis.verdicts import rests_on, to_settle, verdict

    first = comparison.groups[0].name
    return {
        "simulated": comparison.simulated,
        "articles": [
            {"name": group.name, "runs": [r.run.folder.name for r in group.results]}
            for group in comparison.groups
        ],
        "order": comparison.order,
        "differences": [
            {
                "first": first,
                "second": name,
                "sentence": verdict(difference, first, name),
                "rests_on": rests_on(difference),
                "to_settle": to_settle(difference, matters),
                **difference.to_dict(),
            }
            for name, found in comparison.compared.items()
            for difference in found.differences
        ],
        "not_compared": [
            {"first": first, "second": name, "what": what, "why": why}
            for name, found in comparison.compared.items()
            for what, why in found.missing.items()
        ],
        "re_mounting": learned_words(comparison),
        "choice": [
            {
                "question": chosen.question,
                "sentence": chosen_words(chosen),
                "values": {
                    one.article: value_words(chosen, one) for one in chosen.candidates
                },
            }
            for chosen in comparison.chosen
        ],
        "supply_noise": [
            {
                "first": first,
                "second": name,
                "sentence": noise_verdict(found, first, name),
                "what": found.what,
                "band_hz": list(found.band_hz),
                "verdict": found.verdict,
                "ratio": _interval(found.ratio),
            }
            for name, several in comparison.noises.items()
            for found in several
        ],
        "cautions": list(comparison.cautions),
    }


def _interval(ratio: tuple[float, float, float]) -> list[float | None]:
    """Value, low and high; None for a limit that is not known."""
    return [value if math.isfinite(value) else None for value in ratio]
