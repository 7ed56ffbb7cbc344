"""Counts to SI by the stand's own constants, where no calibration was made.

A stand declares counts per unit for each channel and how well it knows them.
That is enough to draw curves, never enough to compare with another stand, and
whatever rests on it says so. Values in, arrays out; no files, no clock.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.link.messages import NOT_KNOWN_PPM, ChannelPage

# A stand that does not know how good its constants are is believed to 5 %: a load
# cell and converter taken from their data sheets, untried (common practice).
UNDECLARED_GAIN_U_REL = 0.05


@dataclass(frozen=True, slots=True)
class Nominal:
    """A channel's declared constants.

    Attributes:
        page: the channel as the stand declared it.
        gain_u_rel: relative standard uncertainty of its scale factor.
        declared: whether the stand itself stated that uncertainty.
    """

    page: ChannelPage
    gain_u_rel: float
    declared: bool

    @property
    def resolution_si(self) -> float:
        """One count, in SI."""
        return 1.0 / abs(self.page.counts_per_unit)

    def to_si(self, counts: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
        """Counts, any shape, as SI values; NaN where there was no reading."""
        values = (counts - self.page.zero_counts) / self.page.counts_per_unit
        values[counts == self.page.no_reading] = np.nan
        return values


def nominal(page: ChannelPage) -> Nominal:
    """The constants that a channel's page declares."""
    declared = page.gain_u_ppm != NOT_KNOWN_PPM
    gain_u_rel = page.gain_u_ppm * 1e-6 if declared else UNDECLARED_GAIN_U_REL
    return Nominal(page, gain_u_rel, declared)
