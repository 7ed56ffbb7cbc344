"""Invented runs with known truth: what the analysis should find, and its noise.

The truth is plain arithmetic that the analysis does not share. Noise is
autocorrelated, zeros wander, and each scale factor is off by a draw from the
distribution that the analysis is told.
"""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from daq.analysis.series import Hold, Series

Array = NDArray[np.float64]

DIAMETER_M = 0.0762
DENSITY_KG_M3 = 1.19
THRUST_COEFFICIENT = 0.13
PACK_V = 12.4
PACK_OHM = 0.055
#: T = (P / 27)^(1/1.4): exponent of thrust against power 0.714...
POWER_AT_1_N_W = 27.0
POWER_EXPONENT = 1.4

UNITS: dict[str, str] = {
    "thrust": "force",
    "current": "current",
    "voltage": "voltage",
    "speed": "rotational speed",
}


@dataclass(frozen=True)
class Truth:
    """True steady values at a throttle."""

    thrust_n: float
    current_a: float
    voltage_v: float
    speed_rad_s: float

    @property
    def power_w(self) -> float:
        return self.voltage_v * self.current_a


def truth_at(throttle_frac: float) -> Truth:
    thrust_n = 2.6 * (0.25 * throttle_frac + 0.75 * throttle_frac**2)
    power_w = POWER_AT_1_N_W * thrust_n**POWER_EXPONENT
    # P = (E - R I) I
    current_a = (PACK_V - math.sqrt(PACK_V**2 - 4 * PACK_OHM * power_w)) / (
        2 * PACK_OHM
    )
    rev_s = math.sqrt(thrust_n / (THRUST_COEFFICIENT * DENSITY_KG_M3 * DIAMETER_M**4))
    return Truth(
        thrust_n, current_a, PACK_V - PACK_OHM * current_a, 2 * math.pi * rev_s
    )


@dataclass(frozen=True)
class Noise:
    """How bad the stand is.

    Attributes:
        sd: Noise of single readings by channel, SI.
        rho: Correlation of neighbouring readings.
        gain_u_rel: Standard deviation from which scale errors are drawn.
        zero_n_per_root_s: Wandering of the thrust zero.
        zero_n_per_s: Steady drift of the thrust zero.
        glitch_share: Share of readings that are converter glitches.
        lost_share: Share of readings that are missing.
    """

    sd: dict[str, float] = field(
        default_factory=lambda: {
            "thrust": 0.02,
            "current": 0.08,
            "voltage": 0.02,
            "speed": 8.0,
        }
    )
    rho: float = 0.6
    gain_u_rel: dict[str, float] = field(
        default_factory=lambda: {
            "thrust": 0.005,
            "current": 0.01,
            "voltage": 0.004,
            "speed": 1e-4,
        }
    )
    zero_n_per_root_s: float = 0.0
    zero_n_per_s: float = 0.0
    glitch_share: float = 0.0
    lost_share: float = 0.0


def staircase(
    levels: tuple[float, ...],
    *,
    dwell_s: float = 3.0,
    rest_s: float = 4.0,
    down: bool = True,
    rest_every: int | None = None,
    top_twice: bool = False,
) -> list[Hold]:
    """Rest, levels up, levels down, rest; with rests in between if asked for."""
    holds = [Hold("rest", "rest", 0, 0.0, 0.0, rest_s)]
    at_s, step = rest_s, 1
    legs: list[tuple[Literal["up", "down"], float]] = [
        ("up", level) for level in levels
    ]
    if down:
        legs += [
            ("down", level) for level in reversed(levels if top_twice else levels[:-1])
        ]
    for number, (leg, level) in enumerate(legs, 1):
        at_s += 0.3
        holds.append(Hold("dwell", leg, step, level, at_s, at_s + dwell_s))
        at_s, step = at_s + dwell_s, step + 1
        if rest_every and number % rest_every == 0 and number < len(legs):
            holds.append(Hold("rest", "rest", step, 0.0, at_s, at_s + rest_s))
            at_s, step = at_s + rest_s, step + 1
    holds.append(Hold("rest", "rest", step, 0.0, at_s, at_s + rest_s))
    return holds


def record(
    holds: list[Hold],
    noise: Noise,
    rng: np.random.Generator,
    *,
    rate_hz: float = 80.0,
    channels: tuple[str, ...] = ("thrust", "current", "voltage", "speed"),
) -> dict[str, Series]:
    """Readings of a stand that holds these throttles."""
    t_s = np.arange(0.0, holds[-1].end_s, 1.0 / rate_hz)
    true = _true_values(t_s, holds)
    return {name: _channel(name, t_s, true[name], noise, rng) for name in channels}


def _true_values(t_s: Array, holds: list[Hold]) -> dict[str, Array]:
    values = {name: np.zeros(t_s.size) for name in UNITS}
    values["voltage"][:] = PACK_V
    for hold in holds:
        if hold.kind != "dwell":
            continue
        truth = truth_at(hold.throttle_frac)
        inside = (t_s >= hold.start_s - 0.3) & (t_s < hold.end_s)
        values["thrust"][inside] = truth.thrust_n
        values["current"][inside] = truth.current_a
        values["voltage"][inside] = truth.voltage_v
        values["speed"][inside] = truth.speed_rad_s
    return values


def _channel(
    name: str, t_s: Array, true: Array, noise: Noise, rng: np.random.Generator
) -> Series:
    gain = 1.0 + noise.gain_u_rel[name] * rng.standard_normal()
    value = gain * true + noise.sd[name] * autocorrelated(t_s.size, noise.rho, rng)
    if name == "thrust":
        step_s = float(t_s[1] - t_s[0])
        steps = noise.zero_n_per_root_s * math.sqrt(step_s)
        value += 0.7 + np.cumsum(steps * rng.standard_normal(t_s.size))
        value += noise.zero_n_per_s * t_s
    if name == "current":
        value += 0.15
    if noise.glitch_share:
        hit = rng.random(t_s.size) < noise.glitch_share
        value[hit] += rng.choice([-1.0, 1.0], int(hit.sum())) * 100 * noise.sd[name]
    if noise.lost_share:
        value[rng.random(t_s.size) < noise.lost_share] = math.nan
    if name == "speed":
        value = np.maximum(value, 0.0) * (true > 0)
    return Series(
        name=name,
        quantity=UNITS[name],
        t_s=t_s,
        value_si=value,
        gain_u_rel=noise.gain_u_rel[name],
        resolution_si=noise.sd[name] / 10,
    )


def autocorrelated(count: int, rho: float, rng: np.random.Generator) -> Array:
    """First-order autoregressive noise of unit variance."""
    from scipy.signal import lfilter

    white = rng.standard_normal(count + 200)
    shaped = lfilter([math.sqrt(1 - rho**2)], [1.0, -rho], white)
    return np.asarray(shaped[200:], dtype=np.float64)
