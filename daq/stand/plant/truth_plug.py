"""The arming plug's contacts and what measures them, as a truth file says it.

Like the other tables it must never hold anything that changes while the plant runs.
"""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field
from typing_extensions import override

from daq.stand.plant.truth_parts import (
    FastSensorTruth,
    Fraction,
    NotNegative,
    Positive,
    as_tuple,
)
from daq.typed_toml import Table

Pole = Literal["plus", "minus"]
Poles = Annotated[tuple[Pole, ...], BeforeValidator(as_tuple)]
POLES: tuple[Pole, ...] = ("plus", "minus")


class PlugTruth(Table):
    """Both poles of the arming plug, warmed as one lump by what they lose.

    Cold they have ``leads.plug_resistance_ohm``; ``plus_share_frac`` is the plus pole's
    share of it.
    """

    plus_share_frac: Fraction = 0.5
    resistance_k_w: Positive
    capacity_j_k: Positive
    rise_rel_k: Annotated[float, Field(gt=-0.02, lt=0.02)] = 0.00393


class PackVoltageTruth(FastSensorTruth):
    """A divider in front of the plug, read by the stand's converter.

    ``lead_ohm`` is what lies between the plug and where the bus voltage is read, beside
    both contacts.
    """

    counts_per_v: Positive
    lead_ohm: NotNegative = 0.0

    @property
    @override
    def counts_per_unit(self) -> float:
        return self.counts_per_v


class PlugSenseTruth(FastSensorTruth):
    """A differential amplifier for each pole, and where its two wires sit.

    ``zero_error_counts`` is that of the plus pole. ``plus_lead_ohm`` and
    ``minus_lead_ohm`` are conductor that lies between the sense points beside the
    contact. ``common_mode_rel`` is how much of the bus voltage, which both wires of
    the plus pole have against ground, is read as a difference. A pole in ``swapped``
    has its wires exchanged; one in ``broken`` has lost one of them, and its amplifier
    sits at the end of its range.
    """

    counts_per_v: Positive
    minus_zero_error_counts: float = 0.0
    plus_lead_ohm: NotNegative = 0.0
    minus_lead_ohm: NotNegative = 0.0
    common_mode_rel: Annotated[float, Field(gt=-0.1, lt=0.1)] = 0.0
    swapped: Poles = ()
    broken: Poles = ()

    @property
    @override
    def counts_per_unit(self) -> float:
        return self.counts_per_v
