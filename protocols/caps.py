"""What a plan demands of limits and rules beyond what the article's ratings give.

A plan without a propeller brings a bound on speed along; it may only ever narrow
a limit. Standard library only, so that a task can be checked with it too.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace

from daq import units
from daq.errors import InputFault
from protocols.limits import Limit, brief
from protocols.plan import Plan
from protocols.rules import USABLE_CHARGE, Rules

CHANNEL = "speed"
# Without a hold a spin may take what a pack can spare (``rules.USABLE_CHARGE``): that
# protects a pack which nobody knows. A hold takes what is there, on purpose, and is
# ended by the voltage under load, which shows an empty cell for what it is. The budget
# then only guards against a voltage that is read wrong: no pack holds much more than
# what is printed (common practice, no source).
EMPTIED_SHARE = 1.05
HOLD_GOES_BY = ("thrust", "voltage")


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
    """Rules that know whether a propeller is on and a pack is to be emptied."""
    rules = replace(rules, propeller_on=rules.propeller_on and not plan.propeller_off)
    if not plan.goals:
        return rules
    more = EMPTIED_SHARE / USABLE_CHARGE
    return replace(
        rules,
        charge_c=None if rules.charge_c is None else more * rules.charge_c,
        energy_j=None if rules.energy_j is None else more * rules.energy_j,
    )


def blind_hold(plan: Plan, missing: Collection[str]) -> str | None:
    """Why a stand without these channels holds no thrust, in a sentence; else None."""
    lacks = [name for name in HOLD_GOES_BY if name in missing]
    if not plan.goals or not lacks:
        return None
    return (
        f"The plan {plan.protocol} holds a thrust until a voltage is reached, and this "
        f"stand measures no {' and no '.join(lacks)}."
    )


def unheld_goal(plan: Plan, limits: Sequence[Limit]) -> str | None:
    """Why a thrust cannot be held under these limits, in a sentence; else None."""
    if not plan.goals:
        return None
    high_n = max(goal.thrust_n for goal in plan.goals)
    floor_v = min(goal.floor_v for goal in plan.goals)
    known = {limit.channel: limit for limit in limits}
    for name in HOLD_GOES_BY:
        if name not in known:
            return (
                f"the plan {plan.protocol} holds a thrust until a voltage is reached, "
                f"so the stand must measure {name}, with a limit on it; there is none."
            )
    if not known["thrust"].high > high_n:
        return (
            f"the plan {plan.protocol} holds {_gf(high_n)}, and the limit on thrust is "
            f"{_gf(known['thrust'].high)} ({known['thrust'].source})."
        )
    if not known["voltage"].low < floor_v:
        return (
            f"the plan {plan.protocol} ends at {floor_v:.4g} V under load, where "
            f"the voltage's limit of {known['voltage'].low:.4g} V has tripped "
            "already; it must end above that."
        )
    return None


def fits(plan: Plan, limits: Sequence[Limit]) -> bool:
    """Whether limits are as tight as the plan demands."""
    cap_rad_s = plan.speed_cap_rad_s
    if cap_rad_s is None:
        return True
    return any(limit.channel == CHANNEL and limit.high <= cap_rad_s for limit in limits)


def _narrowed(limit: Limit, cap_rad_s: float) -> Limit:
    source = f"the protocol's cap {_rpm(cap_rad_s)}; otherwise {limit.source}"
    return replace(limit, high=cap_rad_s, source=source)


def _gf(force_n: float) -> str:
    return f"{brief(units.n_to_gf(force_n))} gf"


def _rpm(speed_rad_s: float) -> str:
    return f"{brief(units.rad_s_to_rpm(speed_rad_s))} rpm"
