"""A guard over a simulated stand, without a wire: an armed spell in virtual time.

The plant gives counts as its sensors do; they are made SI as the host does, zeros
taken at rest first, and reach the guard late and in batches, as a USB adapter
delivers them. Whatever is simulated here may be changed on the way by a test.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from daq import units
from daq.stand.plant.bench import Plant
from daq.stand.plant.sensors import FastFrame
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.guard.guard import Guard
from protocols.guard.trip import Trip
from protocols.limits import Limit
from protocols.plan import Plan, Segment
from protocols.rules import Rules

TICK_S = 0.002
ZEROING_S = 0.5
SETPOINT_S = 0.025
KV_RAD_S = 4600 * units.RPM_RAD_S

LIMITS = (
    Limit("current", -5.0, 20.0, 3, 0.1, "ESC 20 A"),
    Limit("voltage", 9.0, 12.9, 10, 0.1, "3 cells"),
    Limit("thrust", -1.0, 9.8, 2, 0.5, "load cell 1000 gf"),
    Limit("speed", float("-inf"), 6670.0, 5, 0.5, "motor without load"),
)
RULES = Rules(speed_per_volt_rad_s=KV_RAD_S)

Change = Callable[[str, float, float], float | None]


@dataclass
class Spell:
    """One walk of a plan under a guard.

    Attributes:
        truth: what the stand is.
        seed: of its noise and gains.
        limits: the guard's.
        rules: the guard's.
        without: channels that the stand does not have.
        batch_s: how long the adapter holds readings back.
        change: what a reading becomes, by channel, SI value and time; None: nothing.
        act: what happens to the plant, at each tick.
        trips: each first trip of a check, with the time into the plan.
    """

    truth: Truth = field(default_factory=shipped_truth)
    seed: int = 1
    limits: tuple[Limit, ...] = LIMITS
    rules: Rules = RULES
    without: tuple[str, ...] = ()
    batch_s: float = 0.016
    change: Change = lambda channel, value, at_s: value
    act: Callable[[Plant, float], None] = lambda plant, at_s: None
    trips: list[tuple[float, Trip]] = field(default_factory=list)

    def walk(self, plan: Plan, *, to_the_end: bool = False) -> "Spell":
        """Walk the plan until the guard trips, or to its end."""
        plant = Plant(self.truth, self.seed)
        self._specs = {spec.name: spec for spec in plant.sensor_specs}
        self._zeros = dict.fromkeys(self._specs, 0.0)
        self._zero(plant)
        limits = tuple(x for x in self.limits if x.channel not in self.without)
        guard = Guard(limits, self.rules, 0.0)
        waiting: list[tuple[str, float]] = []
        now_s, set_s, deliver_s, throttle = 0.0, 0.0, 0.0, 0.0
        while now_s < plan.duration_s and (to_the_end or not self.trips):
            if now_s >= set_s:
                throttle = plan.setpoint_at(now_s)
                guard.setpoint(throttle, now_s)
                set_s += SETPOINT_S
            self.act(plant, now_s)
            plant.advance(TICK_S, 1e-3 * (1 + throttle))
            now_s += TICK_S
            waiting += self._read(plant, now_s)
            if now_s >= deliver_s:
                self._deliver(guard, waiting, now_s)
                waiting = []
                deliver_s = now_s + self.batch_s
        return self

    def _deliver(
        self, guard: Guard, waiting: list[tuple[str, float]], now_s: float
    ) -> None:
        guard.beat(now_s)
        trips = [guard.reading(channel, value, now_s) for channel, value in waiting]
        trips.append(guard.judge(now_s))
        known = {trip.check for _, trip in self.trips}
        self.trips += [(now_s, x) for x in trips if x and x.check not in known][:1]

    def _zero(self, plant: Plant) -> None:
        sums: dict[str, list[float]] = {"thrust": [], "current": []}
        for _ in range(round(ZEROING_S / TICK_S)):
            plant.advance(TICK_S, 1e-3)
            for channel, value in self._read(plant, -1.0, raw=True):
                if channel in sums:
                    sums[channel].append(value)
        self._zeros |= {name: sum(x) / len(x) for name, x in sums.items()}

    def _read(
        self, plant: Plant, now_s: float, *, raw: bool = False
    ) -> list[tuple[str, float]]:
        """Readings of this tick, SI, as the host would have them."""
        counts = list(zip(FastFrame._fields, plant.fast_frame(), strict=True))
        names = {"current_mean": "current", "voltage_mean": "voltage", "speed": "speed"}
        got = [
            (names[key.removesuffix("_counts")], float(count))
            for key, count in counts
            if key.removesuffix("_counts") in names
        ]
        conversion = plant.take_conversion()
        if conversion is not None:
            got.append(("thrust", float(conversion)))
        readings = []
        for name, count in got:
            value = count / self._specs[name].counts_per_unit - self._zeros[name]
            changed = value if raw else self.change(name, value, now_s)
            if changed is not None and (raw or name not in self.without):
                readings.append((name, changed))
        return readings

    @property
    def first(self) -> tuple[str, float]:
        """Name of the first check that tripped, and when; none: ("", infinity)."""
        if not self.trips:
            return "", float("inf")
        return self.trips[0][1].check, self.trips[0][0]


def levels(
    *fracs: float,
    rate_frac_s: float = 1.0,
    hold_s: float = 1.8,
    rest_s: float = 1.0,
    name: str = "levels",
) -> Plan:
    """Throttle held at one level after the other, ramps between, rest at both ends."""
    segments = [Segment("rest", "rest", -1, 0.0, 0.0, rest_s)]
    before = 0.0
    for frac in fracs:
        kind, leg, step = ("rest", "rest", -1) if frac == 0 else ("dwell", "up", 0)
        ramp = Segment("ramp", "up", 0, before, frac, abs(frac - before) / rate_frac_s)
        segments += [ramp, Segment(kind, leg, step, frac, frac, hold_s)]  # type: ignore[arg-type]
        before = frac
    if before:
        segments.append(Segment("ramp", "rest", -1, before, 0.0, before / rate_frac_s))
    segments.append(Segment("rest", "rest", -1, 0.0, 0.0, rest_s + 1.0))
    return Plan(name, name, tuple(segments))
