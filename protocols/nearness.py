"""How near a plan is expected to come to each limit, burst and budget.

Shares of what is allowed: 0 untouched, 1 used up, above 1 beyond. A bound that
nobody can foresee gets no share, and must never be told as one that is far away.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from protocols.dry_run import STRIPS, Row
from protocols.estimate import Drive, operating_point
from protocols.limits import Limit, brief, to_trade
from protocols.rules import Burst, Rules


@dataclass(frozen=True, slots=True)
class Nearest:
    """Where a plan comes nearest to one limit.

    Attributes:
        channel: which limit.
        value: what is expected there, SI.
        bound: the bound it nears, SI.
        share: 0 at rest, 1 at the bound, above 1 beyond it.
        at_s: when it first comes that near, from the start of the plan.
        throttle_frac: throttle at that moment.
    """

    channel: str
    value: float
    bound: float
    share: float
    at_s: float
    throttle_frac: float

    def words(self) -> str:
        """One clause: which limit, how near, and where."""
        value, unit = to_trade(self.channel, self.value)
        bound, _ = to_trade(self.channel, self.bound)
        return (
            f"{self.channel}, {brief(value)} {unit} expected where the limit is "
            f"{brief(bound)} {unit}, at {brief(100 * self.throttle_frac)} % throttle, "
            f"{self.at_s:.1f} s into the plan"
        )

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON; a share without measure is None."""
        return {
            "channel": self.channel,
            "value": self.value,
            "bound": self.bound,
            "share": self.share if math.isfinite(self.share) else None,
            "at_s": self.at_s,
            "throttle_frac": self.throttle_frac,
        }


def nearest_to_each(
    rows: Sequence[Row], limits: Sequence[Limit], drive: Drive
) -> tuple[Nearest, ...]:
    """For each limit that can be foreseen, where the plan comes nearest to it.

    Returns:
        At most one a limit, in their order; the first place of equals.
    """
    found = []
    for limit in limits:
        every = [
            Nearest(
                limit.channel, value, bound, share, row.peak_s, row.segment.max_frac
            )
            for row in rows
            for value, bound, share in _share(row, limit, drive)
        ]
        if every:
            found.append(max(every, key=lambda near: near.share))
    return tuple(found)


def _share(
    row: Row, limit: Limit, drive: Drive
) -> Iterator[tuple[float, float, float]]:
    """How much of a limit's room a row uses; nothing where it cannot be told."""
    if limit.channel == "voltage":
        yield _sag_share(row.peak.voltage_v, limit, drive.source_v)
        return
    value = {
        "current": row.peak.current_a,
        "speed": row.peak.speed_rad_s,
        "thrust": row.peak_thrust_n,
    }.get(limit.channel)
    if value is not None and math.isfinite(limit.high):
        yield value, limit.high, value / limit.high


def _sag_share(
    voltage_v: float, limit: Limit, rest_v: float
) -> tuple[float, float, float]:
    """Sag as a share of the sag allowed; beyond it where even rest is too low."""
    room_v = rest_v - limit.low
    share = (rest_v - voltage_v) / room_v if room_v > 0 else math.inf
    return voltage_v, limit.low, share


@dataclass(frozen=True, slots=True)
class Use:
    """How much of a part's rating for seconds a plan uses.

    Attributes:
        burst: the rating.
        share: the most of its budget that is used at any moment.
        at_s: when that is, from the start of the plan.
        peak_a: the highest current expected.
    """

    burst: Burst
    share: float
    at_s: float
    peak_a: float

    def words(self) -> str:
        """One clause: which part, how much of it, and when."""
        return (
            f"{self.burst.part}, {100 * self.share:.0f} % of its rating for "
            f"{brief(self.burst.short_s)} s used {self.at_s:.1f} s into the plan"
        )

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "burst": self.burst.to_dict(),
            "share": self.share,
            "at_s": self.at_s,
            "peak_a": self.peak_a,
        }


def uses_of(rows: Sequence[Row], rules: Rules, drive: Drive) -> tuple[Use, ...]:
    """How much of each part's rating for seconds a plan is expected to use.

    The square of the current above the continuous one is counted up over time; below
    it the count goes down at the same law, and never under zero.
    """
    steps = list(_steps(rows, drive))
    peak_a = max((row.peak.current_a for row in rows), default=0.0)
    return tuple(_use(burst, steps, peak_a) for burst in rules.bursts)


def _steps(rows: Sequence[Row], drive: Drive) -> Iterator[tuple[float, float, float]]:
    """Ends of short stretches from the start of the plan, their length and current."""
    for row in rows:
        segment = row.segment
        if segment.start_frac == segment.end_frac:
            end_s = row.start_s + segment.duration_s
            yield end_s, segment.duration_s, row.end.current_a
            continue
        strip_s = segment.duration_s / STRIPS
        for strip in range(STRIPS):
            middle_frac = segment.setpoint_at((strip + 0.5) * strip_s)
            current_a = operating_point(drive, middle_frac).current_a
            yield row.start_s + (strip + 1) * strip_s, strip_s, current_a


def _use(
    burst: Burst, steps: Sequence[tuple[float, float, float]], peak_a: float
) -> Use:
    used_a2s = most_a2s = at_s = 0.0
    for end_s, length_s, current_a in steps:
        grows_a2 = current_a**2 - burst.continuous_a**2
        used_a2s = max(0.0, used_a2s + grows_a2 * length_s)
        if used_a2s > most_a2s:
            most_a2s, at_s = used_a2s, end_s
    return Use(burst, most_a2s / burst.budget_a2s, at_s, peak_a)


@dataclass(frozen=True, slots=True)
class Budget:
    """How much of what may be taken from the pack a plan takes.

    Attributes:
        name: charge or energy.
        expected: what is taken, SI.
        allowed: what may be taken, SI; None where nobody knows.
    """

    name: str
    expected: float
    allowed: float | None

    @property
    def share(self) -> float | None:
        """0 for nothing, 1 for all of it; None where nobody knows."""
        return None if self.allowed is None else self.expected / self.allowed

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "name": self.name,
            "expected": self.expected,
            "allowed": self.allowed,
            "share": self.share,
        }
