"""What a plan demands of limits and rules beyond what the article's ratings give.

A plan without a propeller brings a bound on speed along; it may only ever narrow
a limit. Standard library only, so that a task can be checked with it too.
"""

from collections.abc import Sequence
from dataclasses import replace

from daq import units
from daq.errors import InputFault
from protocols.limits import Limit, brief
from protocols.plan import Plan
from protocols.rules import Rules

CHANNEL = "speed"


def capped(plan: Plan, limits: Sequence[Limit]) -> tuple[Limit, ...]:
    """Limits that are as tight as the plan demands.

    Args:
        plan: what will be walked.
        limits: what follows from the article, one a channel.

    Returns:
        The same channels in the same order.

    Raises:
        InputFault: the plan bounds the speed and nothing watches it.
    """
    cap_rad_s = plan.speed_cap_rad_s
    if cap_rad_s is None:
        return tuple(limits)
    if not any(limit.channel == CHANNEL for limit in limits):
        raise InputFault(
            f"the protocol {plan.protocol} caps the speed at {_rpm(cap_rad_s)}, so the "
            "stand must measure speed, and nothing here does."
        )
    return tuple(
        _narrowed(limit, cap_rad_s)
        if limit.channel == CHANNEL and limit.high > cap_rad_s
        else limit
        for limit in limits
    )


def ruled(plan: Plan, rules: Rules) -> Rules:
    """Rules that know whether a propeller is on, as the plan has it."""
    return replace(rules, propeller_on=rules.propeller_on and not plan.propeller_off)


def fits(plan: Plan, limits: Sequence[Limit]) -> bool:
    """Whether limits are as tight as the plan demands."""
    cap_rad_s = plan.speed_cap_rad_s
    if cap_rad_s is None:
        return True
    return any(limit.channel == CHANNEL and limit.high <= cap_rad_s for limit in limits)


def _narrowed(limit: Limit, cap_rad_s: float) -> Limit:
    source = f"the protocol's cap {_rpm(cap_rad_s)}; otherwise {limit.source}"
    return replace(limit, high=cap_rad_s, source=source)


def _rpm(speed_rad_s: float) -> str:
    return f"{brief(units.rad_s_to_rpm(speed_rad_s))} rpm"
