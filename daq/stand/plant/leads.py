"""The leads and the arming plug between pack and bus.

Resistance only: their inductance matters for ripple and spikes, which this
plant does not model.
"""

from daq.stand.plant.truth_parts import LeadsTruth


class Leads:
    """Two leads and a plug, in series with the pack. Source: Ohm's law.

    Attributes:
        resistance_ohm: leads and both poles of the plug together; the leads alone
            where the plug is a part of its own (``plug``).
    """

    __slots__ = ("resistance_ohm",)

    def __init__(self, truth: LeadsTruth, *, plug_apart: bool) -> None:
        plug_ohm = 0.0 if plug_apart else truth.plug_resistance_ohm
        self.resistance_ohm = truth.resistance_ohm + plug_ohm
