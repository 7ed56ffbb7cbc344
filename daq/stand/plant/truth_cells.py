"""The taps at the balance plug, as a truth file says it.

Like the other tables it must never hold anything that changes while the plant runs.
"""

from typing import Annotated, Self

from pydantic import BeforeValidator, Field, model_validator
from typing_extensions import override

from daq.stand.plant.truth_parts import FastSensorTruth, Positive, as_tuple

Shares = Annotated[
    tuple[Annotated[float, Field(gt=0.0, lt=1.0)], ...], BeforeValidator(as_tuple)
]
Offs = Annotated[
    tuple[Annotated[float, Field(ge=-0.2, le=0.2)], ...], BeforeValidator(as_tuple)
]
SUM_TO = 1e-6


class CellTapsTruth(FastSensorTruth):
    """A tap a cell, and how the cells differ.

    ``resistance_share`` is each cell's share of the pack's resistances, from the cell
    at the minus wire; ``charge_off_frac`` how far its charge lies from the pack's.
    """

    counts_per_v: Positive
    resistance_share: Shares
    charge_off_frac: Offs

    @property
    @override
    def counts_per_unit(self) -> float:
        return self.counts_per_v

    def drawn_error(self, drawn: float) -> float:
        """Relative error of a gain, by a standard normal number."""
        if self.gain_error is not None:
            return self.gain_error
        return (self.gain_u or 0.0) * drawn

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if len(self.resistance_share) != len(self.charge_off_frac):
            raise ValueError(
                "resistance_share and charge_off_frac need a value for each cell"
            )
        if abs(sum(self.resistance_share) - 1.0) > SUM_TO:
            raise ValueError("resistance_share must sum to 1")
        if abs(sum(self.charge_off_frac)) > SUM_TO:
            raise ValueError("charge_off_frac must sum to 0")
        return self
