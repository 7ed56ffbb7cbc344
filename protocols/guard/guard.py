"""All checks together: what is read, sent and heard goes in, at most one trip out.

Pure and small: no report is a trip, a number that is none is a trip, and a
channel that has a limit but never speaks is a trip. It must never decide what
to do about it; ``protocols.control`` does.
"""

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from protocols.goal import Goal
from protocols.guard.beat import BeatCheck
from protocols.guard.bounds import BoundsCheck
from protocols.guard.burst import BurstCheck
from protocols.guard.follows import FollowsCheck
from protocols.guard.frozen import FrozenCheck
from protocols.guard.heat import HeatCheck
from protocols.guard.holds import HoldsCheck
from protocols.guard.link import LinkCheck
from protocols.guard.now import REST_SPEED_RAD_S, Now
from protocols.guard.pack import PackCheck
from protocols.guard.plausible import PlausibleCheck
from protocols.guard.plug import CHANNELS as PLUG_CHANNELS
from protocols.guard.plug import PlugCheck
from protocols.guard.readings import ReadingCheck
from protocols.guard.silence import SilenceCheck
from protocols.guard.stalled import StalledCheck
from protocols.guard.steady import Steady
from protocols.guard.stopped import rest_current_a
from protocols.guard.stuck import StuckCheck
from protocols.guard.thrown import ThrownCheck
from protocols.guard.trip import Action, Trip
from protocols.limits import MAX_AGE_S, Limit
from protocols.rules import Rules

Take = Callable[[float, float], Trip | None]
Lapse = SilenceCheck | HeatCheck | BeatCheck

JUDGED: Final = ("current", "voltage", "thrust", "speed")
# A load cell is good to this share of its range: creep, drift, friction in the mount.
THRUST_FLOOR_SHARE = 0.005
THRUST_FLOOR_N = 0.05


class Guard:
    """The host's guard over one armed spell; made anew at each arming.

    The stand may have any channels: those that it does not have are not fed, and
    what rests on them is not judged. Channels that no check knows are ignored.
    """

    def __init__(
        self,
        limits: Sequence[Limit],
        rules: Rules,
        now_s: float,
        channels: Collection[str] = (),
        *,
        drives: bool = True,
    ) -> None:
        """Begin.

        Args:
            limits: those that this stand holds, one a channel.
            rules: what else to judge by.
            now_s: from when time counts.
            channels: all that the stand has, as far as known: a temperature among
                them is missed from the start, another one once it was heard.
            drives: whether a motor is driven; of a load that somebody else switches
                only limits, budgets and heat are judged.
        """
        self._now = Now(now_s)
        self._steady = Steady(self._now, now_s)
        floors = _floors(limits)
        self._follows = FollowsCheck(floors["current"], self._now)
        self._bounds = BoundsCheck(floors["current"], rules, self._now, now_s)
        self._holds = HoldsCheck(floors["thrust"], self._now)
        self._link = LinkCheck(now_s)
        self._beat = BeatCheck(now_s)
        heats = _heats(rules, channels, now_s)
        if not drives:  # nothing is stopped in time by it: only a line that is gone
            limits = [replace(x, max_age_s=MAX_AGE_S) for x in limits]
        once = JUDGED if drives else ()
        self._silences = {name: SilenceCheck.once_heard(name) for name in once}
        self._silences |= {x.channel: SilenceCheck.of(x, now_s) for x in limits}
        plugs = _plugs(rules, self._now)
        self._lapses: tuple[Lapse, ...] = (
            *self._silences.values(),
            *heats.values(),
            self._beat,
        )
        # In the order in which causes are named: what says most comes first.
        takes: dict[str, list[Take]] = {x.channel: [] for x in limits}
        for limit in limits:
            takes[limit.channel].append(ReadingCheck(limit).take)
        made = self._checks(floors, rules) if drives else self._budgets(rules)
        for name, checks in made.items():
            takes.setdefault(name, []).extend(checks)
        for name, heat in heats.items():
            takes.setdefault(name, []).append(heat.take)
        for name, pole in plugs.items():
            takes.setdefault("current", []).append(pole.current)
            takes.setdefault(name, []).append(pole.drop)
        self._takes = {name: tuple(checks) for name, checks in takes.items()}

    def _budgets(self, rules: Rules) -> dict[str, tuple[Take, ...]]:
        """What only adds up, whoever draws it."""
        bursts = (BurstCheck(burst).current for burst in rules.bursts)
        return {"current": (PackCheck(rules, self._now).current, *bursts)}

    def _checks(
        self, floors: Mapping[str, float], rules: Rules
    ) -> dict[str, tuple[Take, ...]]:
        """The checks that need to know what was sent and seen before."""
        now, steady, rest_a = self._now, self._steady, floors["current"]
        moving = ("thrust", "current", "speed")
        recent = dict.fromkeys(JUDGED, now.fast) | {"thrust": now.slow}
        frozen = {n: FrozenCheck(n, floors[n], now, recent[n]).take for n in JUDGED}
        least = {**floors, "current": 0.5 * rest_a}
        likely = {n: PlausibleCheck(n, least[n], now, recent[n]).take for n in moving}
        stuck = StuckCheck(moving if rules.propeller_on else moving[1:], now)
        stalled = StalledCheck(rest_a, rules, now, steady)
        return {
            "current": (
                frozen["current"],
                stalled.current,
                ThrownCheck(rest_a, steady).current,
                partial(stuck.take, "current"),
                self._follows.current,
                self._bounds.current,
                likely["current"],
                steady.current.take,
                *self._budgets(rules)["current"],
            ),
            "speed": (
                frozen["speed"],
                stalled.speed,
                partial(stuck.take, "speed"),
                self._follows.speed,
                self._bounds.speed,
                likely["speed"],
                steady.speed.take,
            ),
            "thrust": (
                frozen["thrust"],
                *((partial(stuck.take, "thrust"),) if rules.propeller_on else ()),
                likely["thrust"],
                self._holds.thrust,
            ),
            "voltage": (frozen["voltage"], steady.voltage.take),
        }

    def reading(self, channel: str, value: float, now_s: float) -> Trip | None:
        """Judge one reading of one channel, SI, arrived at ``now_s``."""
        takes = self._takes.get(channel)
        if takes is None:
            return None
        if math.isfinite(value):  # NaN is no sign of life
            self._now.heard(channel, value, now_s)
            if channel in self._silences:
                self._silences[channel].heard(now_s)
        worst = None
        for take in takes:
            trip = take(value, now_s)
            if trip is not None:
                worst = _worse(worst, trip)
        return worst

    def setpoint(self, throttle_frac: float, now_s: float) -> None:
        """That throttle was sent, 0 to 1."""
        self._now.setpoint(throttle_frac, now_s)
        self._steady.setpoint(throttle_frac, now_s)
        self._follows.setpoint(throttle_frac, now_s)
        self._bounds.setpoint(throttle_frac, now_s)

    def hold(self, goal: Goal | None, now_s: float) -> None:
        """A part of the plan began: one that holds a thrust, or another."""
        self._holds.hold(goal, now_s)

    def link(self, whole: int, lost: int, now_s: float) -> Trip | None:
        """Frames understood, and frames missing or damaged, since last told."""
        return self._link.take(whole, lost, now_s)

    def beat(self, now_s: float) -> None:
        """The client is there."""
        self._beat.heard(now_s)

    def judge(self, now_s: float) -> Trip | None:
        """What the passing of time alone has brought about."""
        worst = None
        for check in self._lapses:
            trip = check.judge(now_s)
            if trip is not None:
                worst = _worse(worst, trip)
        return worst

    @property
    def deadline_s(self) -> float:
        """When ``judge`` would trip if nothing more were heard."""
        return min(check.deadline_s for check in self._lapses)


def _worse(before: Trip | None, trip: Trip) -> Trip:
    """Of two trips the one that cuts; of two alike the first."""
    if before is None:
        return trip
    both_ramp = before.action is not Action.CUT
    return trip if both_ramp and trip.action is Action.CUT else before


def _floors(limits: Sequence[Limit]) -> dict[str, float]:
    """What counts as nothing, a channel: SI."""
    ranges_n = [limit.high for limit in limits if limit.channel == "thrust"]
    known_n = [THRUST_FLOOR_SHARE * n for n in ranges_n if math.isfinite(n)]
    return {
        "current": rest_current_a(limits),
        "voltage": 0.0,
        "thrust": max(known_n, default=THRUST_FLOOR_N),
        "speed": REST_SPEED_RAD_S,
    }


def _heats(
    rules: Rules, channels: Collection[str], now_s: float
) -> dict[str, HeatCheck]:
    """A check for each temperature that has a maximum."""
    most_k = {
        "winding-temp": rules.winding_max_k,
        "esc-temp": rules.esc_max_k,
        "plug-temp": rules.plug_max_k,
    }
    return {
        name: HeatCheck(name, max_k, now_s if name in channels else math.inf)
        for name, max_k in most_k.items()
        if max_k is not None
    }


def _plugs(rules: Rules, now: Now) -> dict[str, PlugCheck]:
    """A check for each pole of the plug, where somebody said what it may bear."""
    if rules.plug_heat_w is None:
        return {}
    return {name: PlugCheck(name, rules, now) for name in PLUG_CHANNELS}
