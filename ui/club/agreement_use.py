"""An agreement between the analysis and its file: what a round leaves, what runs take.

In the file stands go by keys, in the analysis by what runs at hand call them. Nothing
here computes a figure, and nothing here checks a file: ``agreement`` does.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ui.club.agreeing import sentences_on
from ui.club.agreement import FORMAT, checked, kept_dof
from ui.club.entry import key_of
from ui.comparable import begun

if TYPE_CHECKING:
    from daq.analysis.agreed import Agreed, Agreement, Spread
    from daq.analysis.round_robin import RoundFound
    from daq.analysis.summaries import Summary
    from ui.club.agreeing import Member, Round
    from ui.club.agreement import AgreementTold
    from ui.club.entry import Entry


def agreement_of(held: Round) -> AgreementTold:
    """What the round leaves for comparisons across stands.

    Raises:
        InputFault: it says what no agreement could hold.
    """
    return agreement_told(
        Held(
            held.name,
            held.article,
            tuple(begun(one)[0] for one in held.results),
            held.simulated,
            held.members,
            held.found,
        ),
        key_of,
    )


@dataclass(frozen=True, slots=True)
class Held:
    """A round robin, wherever its runs came from.

    Attributes:
        name: of the round.
        article: what travelled, in words.
        times: when its runs began.
        simulated: whether anything of it was only simulated.
        members: the stands, in the order in which they were first visited.
        found: by quantity.
    """

    name: str
    article: str
    times: tuple[str, ...]
    simulated: bool
    members: tuple[Member, ...]
    found: Mapping[str, RoundFound]


def agreement_told(held: Held, key: Callable[[str], str]) -> AgreementTold:
    """What a round leaves, as its file has it.

    Args:
        held: the round.
        key: makes a key of what a stand or scale is called in it.

    Raises:
        InputFault: it says what no agreement could hold.
    """
    closings = [found.closing for found in held.found.values()]
    names = {member.scale: member.name for member in held.members}
    content = {
        "format": FORMAT,
        "round": held.name,
        "article": held.article,
        "utc_from": min(held.times)[:25],
        "utc_to": max(held.times)[:25],
        "simulated": held.simulated,
        "closed": any(one is not None for one in closings),
        "changed": any(one is not None and one.changed is True for one in closings),
        "stands": [
            {
                "scale": key(member.scale),
                "stand": key(member.stand),
                "name": member.name,
                "runs": member.runs,
            }
            for member in held.members
        ],
        "ranges": {
            what: {"low": float(found.x[0]), "high": float(found.x[-1])}
            for what, found in held.found.items()
        },
        "quantities": {
            what: _agreed(found.agreed, key) for what, found in held.found.items()
        },
        "sentences": [sentence[:1200] for sentence in sentences_on(held.found, names)],
    }
    text = json.dumps(content, allow_nan=False)
    return checked(text.encode(), f'the round robin "{held.name}"')


def _agreed(agreed: Agreed, key: Callable[[str], str]) -> dict[str, object]:
    """The same by keys in place of names, as a file has it."""
    return {
        "within": _spread(agreed.within),
        "between": _spread(agreed.between),
        "consensus_u": agreed.consensus_u,
        "biases": {
            key(scale): {"log": bias.log, "u": bias.u, "dof": kept_dof(bias.dof)}
            for scale, bias in agreed.biases.items()
        },
    }


def _spread(spread: Spread | None) -> dict[str, float] | None:
    return None if spread is None else {"sd": spread.sd, "dof": kept_dof(spread.dof)}


# ---------------------------------------------------------------- using


def agreement_for(told: AgreementTold, scales: Iterable[str]) -> Agreement:
    """An agreement by the names that runs at hand have for their scales.

    Args:
        told: as it was read.
        scales: a stand with its calibrations each, in words (``comparing.scale_of``).
    """
    from daq.analysis.agreed import Agreed, Agreement, Spread, StandBias

    keys = {scale: key_of(scale) for scale in scales}
    return Agreement(
        {
            what: Agreed(
                None if one.within is None else Spread(one.within.sd, one.within.dof),
                None
                if one.between is None
                else Spread(one.between.sd, one.between.dof),
                one.consensus_u,
                {
                    scale: StandBias(bias.log, bias.u, bias.dof)
                    for scale, key in keys.items()
                    if (bias := one.biases.get(key)) is not None
                },
            )
            for what, one in told.quantities.items()
        }
    )


def summary_of_entry(entry: Entry, what: str) -> Summary | None:
    """A run of which a club keeps an entry, as ``hold_across`` takes it.

    Args:
        entry: of the run; stands and scales go by their keys, an article that travels
            by its round.
        what: a key of ``QUANTITIES``.
    """
    import numpy as np

    from daq.analysis.summaries import Summary

    curves = {
        "specific thrust": entry.curves.specific_thrust,
        "thrust": entry.curves.thrust,
    }
    curve = curves[what]
    if curve is None:
        return None
    travels = entry.article.travels
    return Summary(
        article=entry.article.key if travels is None else f"travels: {travels}",
        stand=entry.stand,
        scale=entry.scale,
        x=np.array(curve.x),
        log=np.log(np.array(curve.y)),
        own_u=np.array(curve.own_u_rel),
        scale_u=np.array(curve.scale_u_rel),
        dof=math.inf if curve.dof is None else curve.dof,
        density_kg_m3=entry.density_kg_m3,
    )
