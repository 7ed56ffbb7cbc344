"""Electrical power and specific thrust of each plateau.

The mean of a product is not the product of means. What voltage and current do
together from reading to reading is caught here by averaging their product;
what they do inside one reading (the ripple of the speed controller's switching)
is not in the readings at all. It is bounded where the stand sends the extremes
inside each reading, and said to be unknown where it does not. Nothing here
calls electrical power shaft power.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from daq.analysis.measured import Measured, Source, combine
from daq.analysis.plateaus import ChannelMeans, Plateaus
from daq.analysis.series import Array, Series
from daq.analysis.statistics import MIN_READINGS, window_mean

CAUTION_RIPPLE_UNKNOWN = (
    "power leaves out what voltage and current do together inside one reading; "
    "this stand does not send the extremes that would bound it"
)
CAUTION_RIPPLE_BOUNDED = (
    "what voltage and current do together inside one reading is not corrected "
    "for; its bound, from the extremes inside the readings, is in the interval"
)
CAUTION_UNALIGNED = (
    "voltage and current were not read at the same instants, so power is the "
    "product of their means"
)


@dataclass(frozen=True, slots=True)
class PowerMeans:
    """Electrical power of each plateau.

    Attributes:
        measured: Power in watt, shape (n,), with its sources.
        cautions: What a reader must know about it.
    """

    measured: Measured
    cautions: tuple[str, ...]


def electrical_power(
    series: Mapping[str, Series], plateaus: Plateaus
) -> PowerMeans | None:
    """Mean electrical power of each plateau, in watt.

    Where voltage and current were read at the same instants, power is the mean
    of their product, with the zero of current taken off; its scatter then holds
    their correlation. Otherwise it is the product of the means and the random
    parts are taken as independent. The scale factors, and the zero of current
    through the mean voltage, are shared between plateaus.

    Args:
        series: Channels by name.
        plateaus: The averaged run.

    Returns:
        None without voltage or current.
    """
    if "voltage" not in plateaus.channels or "current" not in plateaus.channels:
        return None
    voltage = plateaus.channels["voltage"].measured
    current = plateaus.channels["current"].measured
    product = combine(
        voltage.value * current.value,
        [(current.value, voltage), (voltage.value, current)],
    )
    cautions: list[str] = []
    aligned = _mean_products(series["voltage"], series["current"], plateaus)
    if aligned is None:
        cautions.append(CAUTION_UNALIGNED)
        measured = product
    else:
        value, own = aligned
        shared = {n: s for n, s in product.sources.items() if s.common}
        measured = Measured(value, {**shared, "power random": own})
    ripple = _ripple_bound(plateaus)
    if ripple is None:
        cautions.append(CAUTION_RIPPLE_UNKNOWN)
    else:
        cautions.append(CAUTION_RIPPLE_BOUNDED)
        # Rectangular, and of one sign at all plateaus, hence shared.
        factor = (ripple / math.sqrt(3.0))[:, np.newaxis]
        measured = measured.with_source("power ripple", factor)
    return PowerMeans(measured, tuple(cautions))


def specific_thrust(thrust: Measured, power: Measured) -> Measured:
    """Thrust over electrical power, in N/W; NaN where power is not positive."""
    with np.errstate(divide="ignore", invalid="ignore"):
        per_watt = np.where(power.value > 0, 1.0 / power.value, np.nan)
    value = thrust.value * per_watt
    return combine(value, [(per_watt, thrust), (-value * per_watt, power)])


def ripple_covariance_bound(
    mean_v: float, low_v: float, open_v: float, mean_a: float, high_a: float
) -> float:
    """Most that ripple can take from power inside a reading, in watt.

    A current that only flows out of the pack lies between zero and its highest
    value, a voltage that only sags between its lowest and the pack at rest. A
    quantity between two limits has at most the variance (high - mean)(mean -
    low) (R. Bhatia, C. Davis, A better bound on the variance, American
    Mathematical Monthly 107, 2000, 353-357), and a covariance is at most the
    product of the standard deviations.

    Args:
        mean_v: Mean voltage.
        low_v: Mean of the lowest voltage inside each reading.
        open_v: Voltage of the pack at rest.
        mean_a: Mean current.
        high_a: Mean of the highest current inside each reading.

    Returns:
        The bound; mean power lies at most this far from the product of means.
    """
    voltage = max(0.0, open_v - mean_v) * max(0.0, mean_v - low_v)
    current = max(0.0, high_a - mean_a) * max(0.0, mean_a)
    return math.sqrt(voltage * current)


def _mean_products(
    voltage: Series, current: Series, plateaus: Plateaus
) -> tuple[Array, Source] | None:
    """Means of v (i - zero) with their random part; None if not aligned."""
    zero_a = _zero_taken_off(plateaus.channels["current"])
    value = np.full(len(plateaus), math.nan)
    own_u = np.full(len(plateaus), math.nan)
    dof = np.ones(len(plateaus))
    # A product of two counts has no count; both means carry their resolution.
    for index in range(len(plateaus)):
        span = (float(plateaus.start_s[index]), float(plateaus.end_s[index]))
        t_s, volts = voltage.between(*span)
        t_a_s, amps = current.between(*span)
        if t_s.shape != t_a_s.shape or not np.array_equal(t_s, t_a_s):
            return None
        count_w = _product_resolution(voltage, current, volts, amps - zero_a[index])
        window = window_mean(t_s, volts * (amps - zero_a[index]), count_w)
        value[index], own_u[index] = window.mean, window.u
        dof[index] = window.dof
    return value, Source(own_u, dof)


def _zero_taken_off(current: ChannelMeans) -> Array:
    return current.raw - current.mean


def _product_resolution(
    voltage: Series, current: Series, volts: Array, amps: Array
) -> float:
    """What one count of each is worth in watt, together."""
    product = volts * amps
    if np.count_nonzero(np.isfinite(product)) < MIN_READINGS:
        return 0.0
    return math.hypot(
        voltage.resolution_si * float(np.nanmean(amps)),
        current.resolution_si * float(np.nanmean(volts)),
    )


def _ripple_bound(plateaus: Plateaus) -> Array | None:
    """Bound for each plateau, shape (n,); None where it cannot be known.

    Noise lifts the extremes too: what they stand off the means in the rests,
    where nothing switches, is taken off.
    """
    needed = ("voltage", "voltage-low", "current-high")
    if any(name not in plateaus.channels for name in needed):
        return None
    volts, low, high = (plateaus.channels[name] for name in needed)
    if not all(means.rests.value.size for means in (volts, low, high)):
        return None
    open_v = float(volts.rests.value.max())
    noise_v = max(0.0, float(volts.rests.value.mean() - low.rests.value.mean()))
    low_v = low.raw + noise_v
    high_a = high.raw - float(high.rests.value.mean())
    mean_a = plateaus.channels["current"].mean
    seen = np.isfinite(volts.raw) & np.isfinite(mean_a)
    if not np.all(np.isfinite(low_v[seen]) & np.isfinite(high_a[seen])):
        return None
    bounds = np.full(len(plateaus), math.nan)
    for index in np.flatnonzero(seen):
        bounds[index] = ripple_covariance_bound(
            float(volts.raw[index]),
            float(low_v[index]),
            open_v,
            float(mean_a[index]),
            float(high_a[index]),
        )
    return bounds
