"""Timed limits, budgets and the other rules in force, and how much of each was used.

What was used is counted as the guard counted it, over the readings of the record from
arming on. Nothing here decides anything; the guard did.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from daq import units
from ui.report.facts import DANGER, GOOD, NEUTRAL
from ui.report.guards import read_while_armed
from ui.report.words import in_brief, table_of

if TYPE_CHECKING:
    from daq.analysis.series import Array, Series
    from daq.records.read import Run
    from protocols.rules import Burst, Rules
    from ui.report.setup import Lines

AS_PER_MAH = 3.6
J_PER_WH = 3600.0


@dataclass(frozen=True, slots=True)
class Timed:
    """One part's rating for seconds.

    Attributes:
        part: plug, ESC, motor.
        allowed: the rating in words.
        used: how much of it was used, in words.
        source: where it comes from.
        mark: good, danger or neutral.
        bar: how much was used, in percent; None where nothing was read.
    """

    part: str
    allowed: str
    used: str
    source: str
    mark: str
    bar: float | None


def rules_of(run: Run) -> Rules | None:
    """The rules in force; None where the record gives none that can be read."""
    from daq.errors import InputFault
    from protocols.rules import Rules

    rules = table_of(run.header, "task").get("rules")
    if rules is None:
        return None
    try:
        return Rules.from_dict(rules)
    except InputFault:
        return None


def timed_limits(run: Run, series: Mapping[str, Series]) -> list[Timed]:
    """Each timed limit in force."""
    rules = rules_of(run)
    if rules is None or not rules.bursts:
        return []
    t_s, current_a = read_while_armed(run, series.get("current"))
    return [_timed(burst, t_s, current_a) for burst in rules.bursts]


def _timed(burst: Burst, t_s: Array, current_a: Array) -> Timed:
    allowed = (
        f"{in_brief(burst.short_a)} A for {in_brief(burst.short_s)} s, "
        f"{in_brief(burst.continuous_a)} A for as long as one likes"
    )
    if not t_s.size:
        used = "No current was read while armed."
        return Timed(burst.part, allowed, used, burst.source, NEUTRAL, None)
    share, at_s = _most_used(burst, t_s, current_a)
    used = f"The current never went above {in_brief(burst.continuous_a)} A for long."
    if share >= 0.005:
        most = f"{100 * share:.0f} % of it was used at the most"
        used = f"{most}, {at_s:.1f} s after arming."
    mark = DANGER if share >= 1 else GOOD
    return Timed(
        burst.part, allowed, used, burst.source, mark, round(min(100 * share, 100), 2)
    )


def _most_used(burst: Burst, t_s: Array, current_a: Array) -> tuple[float, float]:
    """The most of a rating that was used at any moment, and when, from arming on."""
    from protocols.guard.burst import BurstCheck

    check, most, most_s = BurstCheck(burst), 0.0, 0.0
    for now_s, value in zip(t_s.tolist(), current_a.tolist(), strict=True):
        check.current(value, now_s)
        if check.used_share > most:
            most, most_s = check.used_share, now_s - float(t_s[0])
    return most, most_s


def rule_lines(run: Run, series: Mapping[str, Series]) -> Lines:
    """The other rules, each with what was read or taken."""
    rules = rules_of(run)
    return () if rules is None else tuple(_lines(run, rules, series))


def _lines(
    run: Run, rules: Rules, series: Mapping[str, Series]
) -> Iterator[tuple[str, str]]:
    charge_c, energy_j = _taken(run, series)
    for label, budget, taken, scale, unit in (
        ("Charge from the pack", rules.charge_c, charge_c, AS_PER_MAH, "mAh"),
        ("Energy from the pack", rules.energy_j, energy_j, J_PER_WH, "Wh"),
    ):
        if budget is not None:
            most = f"at most {in_brief(budget / scale)} {unit}"
            told = "" if taken is None else f"; {in_brief(taken / scale)} {unit} taken"
            yield label, f"{most}{told}"
    for label, channel, most_k in (
        ("Winding", "winding-temp", rules.winding_max_k),
        ("ESC", "esc-temp", rules.esc_max_k),
        ("Plug", "plug-temp", rules.plug_max_k),
    ):
        if most_k is not None:
            yield f"{label}, hottest", _heat(run, channel, most_k)
    if rules.speed_per_volt_rad_s is not None:
        kv = units.rad_s_to_rpm(rules.speed_per_volt_rad_s)
        yield "Speed for each volt", f"at most {in_brief(kv)} rpm, the motor's Kv"
    propeller = "on: thrust is due with throttle"
    if not rules.propeller_on:
        propeller = "off: no thrust is looked for"
    yield "Propeller", propeller


def _taken(run: Run, series: Mapping[str, Series]) -> tuple[float | None, float | None]:
    """Charge and energy that left the pack while armed; None where not measured."""
    t_s, current_a = read_while_armed(run, series.get("current"))
    volts_s, voltage_v = read_while_armed(run, series.get("voltage"))
    if t_s.size < 2:
        return None, None
    forward_a = np.maximum(current_a, 0.0)
    charge_c = _over_time(forward_a, t_s)
    if volts_s.size < 2:
        return charge_c, None
    power_w = forward_a * np.interp(t_s, volts_s, voltage_v)
    return charge_c, _over_time(power_w, t_s)


def _over_time(value: Array, t_s: Array) -> float:
    """The integral of readings, straight from one to the next."""
    return float(np.sum(np.diff(t_s) * (value[1:] + value[:-1]) / 2))


def _heat(run: Run, channel: str, most_k: float) -> str:
    """A temperature's bound, and the highest that was read."""
    degree = "\N{DEGREE SIGN}C"
    bound = f"{units.k_to_c(most_k):.0f} {degree}"
    read = _highest_k(run, channel)
    if read is None:
        return f"{bound}; this stand does not measure it"
    return f"{bound}; {units.k_to_c(read):.0f} {degree} read at most"


def _highest_k(run: Run, channel: str) -> float | None:
    """The highest finite reading of a channel that no curve is made of."""
    for stream in run.streams:
        for column, page in enumerate(stream.channels):
            if page.name == channel:
                to_si: Callable[[int], float] = page.to_si
                value_k = [to_si(int(count)) for count in stream.counts[:, column]]
                finite = [value for value in value_k if np.isfinite(value)]
                return max(finite, default=None)
    return None
