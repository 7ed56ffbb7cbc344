"""What a stand does that neither its calibration nor its readings show.

Bounds by what is usual, for the causes that a careful person carries even where nobody
looked: masses that are set down on the axis say nothing of where the next article's
axis will sit, and nothing blows while they are weighed. All bounds are rectangular
(GUM 4.3.7), about what was read: nothing is corrected here. They belong to the stand
and its article and stay the same from level to level.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.measured import Source
from daq.analysis.series import Array, Series

SEAT: Final = "seat of the article"
WASH: Final = "wash on the mount"
ASLEEP: Final = "draw of the controller asleep"
#: What of it the article takes with it when it travels to another stand.
TRAVELS: Final = frozenset((ASLEEP,))
#: Part of a calibrated scale that a person found by mounting the same thing two ways.
TRIED: Final = "mounting"
ROOT_3: Final = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Unseen:
    """Bounds, half-widths.

    Attributes:
        seat_rel: of thrust, by where the article's axis sits and where it points.
        wash_rel: of thrust, by what of the stand stands in the wash.
        asleep_a: what a speed controller draws with its motor off, which is in the
            reading that is taken for the zero of current.
    """

    seat_rel: float = 0.0
    wash_rel: float = 0.0
    asleep_a: float = 0.0

    @property
    def names(self) -> frozenset[str]:
        """Of the sources: another run on the same stand has the same errors."""
        bounds = {SEAT: self.seat_rel, WASH: self.wash_rel, ASLEEP: self.asleep_a}
        return frozenset(name for name, bound in bounds.items() if bound > 0.0)

    def sources(self, channel: Series, value: Array) -> Mapping[str, Source]:
        """What of it acts on the values of a channel, shape (n,), zero taken off.

        Where a person mounted the article two ways and its scale says what came out,
        that stands for the wash.
        """
        found: dict[str, Array] = {}
        if channel.name == "thrust":
            tried = any(part.name == TRIED for part in channel.errors.parts)
            found[SEAT] = self.seat_rel * value
            found[WASH] = (0.0 if tried else self.wash_rel) * value
        if channel.name == "current":
            found[ASLEEP] = np.full(value.size, self.asleep_a)
        known = np.full(value.size, math.inf)
        return {
            name: Source(factor[:, np.newaxis] / ROOT_3, known)
            for name, factor in found.items()
            if name in self.names
        }


NOTHING_UNSEEN: Final = Unseen()
#: Common practice, no source. Seat: the axis within 1 mm of where it was measured to
#: be, on an arm of 100 mm, and a few degrees off. Wash: an arm 10 mm wide from hub to
#: tip covers 8 % of a 76 mm disc of area A; the dynamic pressure there is T/4A at the
#: disc and T/A far behind (momentum theory), so that a blunt one takes 2 to 8 % of
#: thrust; arms are rounded and sit in the lee of the motor, and 3 % is left. Asleep:
#: tens of milliamperes.
USUAL: Final = Unseen(seat_rel=0.01, wash_rel=0.03, asleep_a=0.05)
