"""A round robin as a table and as plain values: the same for terminal and page.

Nothing here reads a run or computes a figure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from daq.analysis.rounding import figure
from daq.analysis.stand_found import CLAIMED

if TYPE_CHECKING:
    from collections.abc import Iterable

    from daq.analysis.precision import Deviation, Precision
    from daq.analysis.round_robin import Closing, RoundFound
    from daq.analysis.stand_found import StandFound
    from ui.club.agreeing import Round

NONE = "\N{EN DASH}"


def rows(found: RoundFound, names: Mapping[str, str]) -> list[tuple[str, ...]]:
    """Stand, runs, bias, its interval, claim, E_n, z, h and k, as text."""
    return [
        (
            names[one.scale],
            str(one.runs),
            _signed(100 * one.ratio[0], 100 * one.half),
            _interval(one),
            _claim(one),
            _score(one.e_n),
            _score(one.z),
            _score(one.h),
            _score(one.k),
        )
        for one in found.stands
    ]


def _signed(value: float, half: float) -> str:
    text = figure(value, half if math.isfinite(half) else abs(value))
    return f"{'' if value < 0 else '+'}{text} %"


def _interval(one: StandFound) -> str:
    _, low, high = (100 * part for part in one.ratio)
    half = 100 * one.half
    if not math.isfinite(half):
        return NONE
    return f"{figure(low, half)} to {figure(high, half)} %"


def _claim(one: StandFound) -> str:
    claim = 100 * CLAIMED * one.claim_u
    return f"\N{PLUS-MINUS SIGN}{figure(claim, claim)} %"


def _score(value: float) -> str:
    if not math.isfinite(value):
        return NONE
    return f"{round(value, 1) + 0.0:.1f}".replace("-", "\N{MINUS SIGN}")


def to_dict(held: Round) -> dict[str, Any]:
    """The round for JSON."""
    return {
        "round": held.name,
        "article": held.article,
        "simulated": held.simulated,
        "runs": [one.run.folder.name for one in held.results],
        "stands": [
            {"name": one.name, "stand": one.words, "scale": one.scale, "runs": one.runs}
            for one in held.members
        ],
        "quantities": {
            what: _found(found, held.names) for what, found in held.found.items()
        },
        "not_told": dict(held.missing),
        "set_aside": list(held.set_aside),
        "cautions": list(held.cautions),
    }


def _found(found: RoundFound, names: Mapping[str, str]) -> dict[str, Any]:
    from daq.analysis.round_words import agreement, doubts, head, stand_words

    return {
        "sentences": [head(found), *agreement(found), *doubts(found, names)],
        "from": float(found.x[0]),
        "to": float(found.x[-1]),
        "consensus_si": found.level,
        "consensus_u_rel": found.consensus.u,
        "plain_mean_over_consensus_less_one": math.expm1(
            found.precision.mean - found.consensus.mean
        ),
        "robust_sd_rel": found.consensus.sd,
        **_precise(found.precision),
        "without_outliers": None if found.without is None else _precise(found.without),
        "closing": None if found.closing is None else _closing(found.closing, names),
        "drift_u": found.drift_u,
        "claimed_u": found.claimed,
        "chance_that_claims_explain_it": _known(found.more_than_claimed),
        "suspects": [
            {
                "test": one.test,
                "stands": [names[found.stands[p].scale] for p in one.places],
                "statistic": one.statistic,
                "chance": one.p,
                "level": one.level,
            }
            for one in found.suspects
        ],
        "critical_h_k_1_percent": [_known(value) for value in found.critical],
        "one_air": found.one_air,
        "stands": [
            {
                "name": names[one.scale],
                "sentence": stand_words(one, names[one.scale]),
                "runs": one.runs,
                "bias": _limits(one.ratio),
                "own_u": _known(one.own_u),
                "claim_u": one.claim_u,
                "claim": one.claim,
                "e_n": _known(one.e_n),
                "zeta": _known(one.zeta),
                "z": _known(one.z),
                "h": _known(one.h),
                "k": _known(one.k),
                "along": None
                if one.along is None
                else {
                    "rise": one.along.rise,
                    "u": one.along.u,
                    "changes": one.along.changes,
                },
            }
            for one in found.stands
        ],
    }


def _precise(precise: Precision) -> dict[str, Any]:
    return {
        "repeatability_sd": _deviation(precise.within),
        "between_stands_sd": _deviation(precise.between),
        "reproducibility_sd": _deviation(precise.overall),
        "stand_means_sd": _deviation(precise.of_means),
    }


def _deviation(found: Deviation | None) -> dict[str, float | None] | None:
    if found is None:
        return None
    return {
        "sd": found.sd,
        "dof": _known(found.dof),
        "low": _known(found.low),
        "high": _known(found.high),
    }


def _closing(closing: Closing, names: Mapping[str, str]) -> dict[str, Any]:
    return {
        "stand": names[closing.scale],
        "runs": list(closing.runs),
        "last_over_first_less_one": _limits(closing.ratio),
        "changed": closing.changed,
    }


def _limits(ratio: Iterable[float]) -> list[float | None]:
    """Value, low and high; None for what is not known."""
    return [_known(value) for value in ratio]


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None
