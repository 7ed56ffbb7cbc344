"""How a club's stands agree: what a round robin leaves, and a comparison takes.

Values only; ``round_robin`` makes them, ``across`` and ``compare`` use them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation of logarithms, and how well it is known.

    Attributes:
        sd: The standard deviation.
        dof: Degrees of freedom of it.
    """

    sd: float
    dof: float


@dataclass(frozen=True, slots=True)
class StandBias:
    """What a stand reads too much, by the logarithm.

    Attributes:
        log: Of what it reads over the consensus.
        u: Standard uncertainty of that from this stand's own runs; what the consensus
            is uncertain by is ``Agreed.consensus_u``.
        dof: Degrees of freedom of ``u``.
    """

    log: float
    u: float
    dof: float


@dataclass(frozen=True, slots=True)
class Agreed:
    """How a club's stands agree in one quantity.

    Attributes:
        within: One article mounted again on one stand; None where nobody did.
        between: Stands about their consensus; None where that is not known.
        consensus_u: What the consensus is uncertain by.
        biases: By scale (a stand with its calibrations).
    """

    within: Spread | None = None
    between: Spread | None = None
    consensus_u: float = 0.0
    biases: Mapping[str, StandBias] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Agreement:
    """How a club's stands agree, by quantity of ``QUANTITIES``."""

    quantities: Mapping[str, Agreed] = field(default_factory=dict)

    def of(self, what: str) -> Agreed:
        """That of a quantity; of one that is not there nothing is known."""
        return self.quantities.get(what, Agreed())

    def to_dict(self) -> dict[str, Any]:
        """The same for JSON."""
        return {
            what: {
                "within": _spread_to_dict(agreed.within),
                "between": _spread_to_dict(agreed.between),
                "consensus_u": agreed.consensus_u,
                "biases": {
                    scale: {"log": bias.log, "u": bias.u, "dof": bias.dof}
                    for scale, bias in agreed.biases.items()
                },
            }
            for what, agreed in self.quantities.items()
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> "Agreement":
        """Read what ``to_dict`` wrote; what a stranger wrote is checked before."""
        return cls(
            {
                what: Agreed(
                    _spread_from_dict(agreed["within"]),
                    _spread_from_dict(agreed["between"]),
                    float(agreed["consensus_u"]),
                    {
                        scale: StandBias(
                            float(bias["log"]), float(bias["u"]), float(bias["dof"])
                        )
                        for scale, bias in agreed["biases"].items()
                    },
                )
                for what, agreed in data.items()
            }
        )


def _spread_to_dict(spread: Spread | None) -> dict[str, float] | None:
    return None if spread is None else {"sd": spread.sd, "dof": spread.dof}


def _spread_from_dict(data: Mapping[str, Any] | None) -> Spread | None:
    return None if data is None else Spread(float(data["sd"]), float(data["dof"]))
