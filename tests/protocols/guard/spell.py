"""A guard over a simulated stand, without a wire: an armed spell in virtual time.

The plant gives counts as its sensors do; they are made SI as the host does, zeros
taken at rest first, and reach the guard late and in batches, as a USB adapter
delivers them. Readings and article may be changed on the way by a test.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from daq import units
from daq.stand.plant.bench import Plant
from daq.stand.plant.condition import Condition
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.guard.guard import Guard
from protocols.guard.trip import Trip
from protocols.limits import Limit
from protocols.plan import Kind, Leg, Plan, Segment
from protocols.rules import Rules

TICK_S = 0.002
SLOW_TICKS = 50
ZEROING_S = 0.5
SETPOINT_S = 0.025
FAST = ("current", "current-high", "voltage", "voltage-low", "speed", "pulse")
GUARDED = ("current", "voltage", "speed")

LIMITS = (
    Limit("current", -3.0, 16.0, 3, 0.1, "motor 16 A"),
    Limit("voltage", 9.0, 12.9, 10, 0.1, "3 cells"),
    Limit("thrust", -1.0, 9.8, 2, 0.5, "load cell 1000 gf"),
    Limit("speed", -math.inf, 6670.0, 5, 0.5, "motor without load"),
)
RULES = Rules(
    charge_c=1296.0,
    energy_j=14_385.0,
    winding_max_k=393.15,
    esc_max_k=373.15,
    speed_per_volt_rad_s=4600 * units.RPM_RAD_S,
)

Change = Callable[[str, float, float], float | None]
Act = Callable[[Plant, float], None]


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
        stubborn: the ESC goes on with the highest pulse that it got.
        trip: the first trip; None while there is none.
        at_s: when it came, into the plan.
    """

    truth: Truth = field(default_factory=shipped_truth)
    seed: int = 1
    limits: tuple[Limit, ...] = LIMITS
    rules: Rules = RULES
    without: tuple[str, ...] = ()
    batch_s: float = 0.016
    change: Change = lambda _channel, value, _at_s: value
    act: Act = lambda _plant, _at_s: None
    stubborn: bool = False
    trip: Trip | None = None
    at_s: float = math.inf

    def walk(self, plan: Plan) -> "Spell":
        """Walk the plan until the guard trips, or to its end."""
        plant = Plant(self.truth, self.seed)
        zeros = self._zeros(plant)
        limits = tuple(x for x in self.limits if x.channel not in self.without)
        guard = Guard(limits, self.rules, 0.0)
        waiting: list[tuple[str, float]] = []
        set_s = deliver_s = throttle = driven = 0.0
        for tick in range(round(plan.duration_s / TICK_S)):
            at_s = tick * TICK_S
            if at_s >= set_s:
                throttle = plan.setpoint_at(at_s)
                guard.setpoint(throttle, at_s)
                set_s += SETPOINT_S
            self.act(plant, at_s)
            driven = max(driven, throttle) if self.stubborn else throttle
            plant.advance(TICK_S, 1e-3 * (1 + driven))
            for name, count in _counts(plant, tick):
                gain, zero = zeros[name]
                value = self.change(name, (count - zero) / gain, at_s)
                if value is not None and name not in self.without:
                    waiting.append((name, value))
            if at_s >= deliver_s:
                self._deliver(guard, waiting, at_s)
                waiting.clear()
                deliver_s = at_s + self.batch_s
            if self.trip is not None:
                break
        return self

    def _deliver(
        self, guard: Guard, waiting: list[tuple[str, float]], at_s: float
    ) -> None:
        guard.beat(at_s)
        for channel, value in waiting:
            self.trip = self.trip or guard.reading(channel, value, at_s)
        self.trip = self.trip or guard.judge(at_s)
        if self.trip is not None:
            self.at_s = at_s

    @staticmethod
    def _zeros(plant: Plant) -> dict[str, tuple[float, float]]:
        """Gain and zero in counts of each channel, by what they read at rest."""
        specs = {x.name: x for x in (*plant.sensor_specs, *plant.slow_specs)}
        rest: dict[str, list[int]] = {"thrust": [], "current": []}
        for tick in range(round(ZEROING_S / TICK_S)):
            plant.advance(TICK_S, 1e-3)
            for name, count in _counts(plant, tick):
                rest.get(name, []).append(count)
        means = {name: sum(counts) / len(counts) for name, counts in rest.items()}
        return {
            name: (spec.counts_per_unit, means.get(name, 0.0))
            for name, spec in specs.items()
        }


def _counts(plant: Plant, tick: int) -> Iterator[tuple[str, int]]:
    """What the stand reads at this tick."""
    frame = dict(zip(FAST, plant.fast_frame(), strict=True))
    yield from ((name, frame[name]) for name in GUARDED)
    conversion = plant.take_conversion()
    if conversion is not None:
        yield "thrust", conversion
    if tick % SLOW_TICKS == 0:
        names = (spec.name for spec in plant.slow_specs)
        yield from zip(names, plant.slow_frame(), strict=True)


def from_then_on(start_s: float, **condition: object) -> Act:
    """Something breaks and stays broken; ``Condition`` says what may."""
    broken = Condition(**condition)  # type: ignore[arg-type]

    def act(plant: Plant, at_s: float) -> None:
        if at_s >= start_s:
            plant.suffer(broken)

    return act


def levels(
    *fracs: float,
    rate_frac_s: float = 1.0,
    hold_s: float = 1.8,
    short_s: float | None = None,
    rest_s: float = 1.0,
) -> Plan:
    """Throttle held at one level after the other, ramps between, rest at both ends.

    With ``short_s`` every second level is held for that long.
    """
    segments = [Segment("rest", "rest", -1, 0.0, 0.0, rest_s)]
    before = 0.0
    for number, frac in enumerate((*fracs, 0.0)):
        kind: Kind = "dwell" if frac else "rest"
        leg: Leg = "up" if frac else "rest"
        step = 0 if frac else -1
        ramp_s = abs(frac - before) / rate_frac_s
        segments.append(Segment("ramp", leg, step, before, frac, ramp_s))
        held_s = short_s if short_s and number % 2 else hold_s
        segments.append(Segment(kind, leg, step, frac, frac, held_s))
        before = frac
    return Plan("levels", "levels", tuple(segments))


def begins(plan: Plan, number: int) -> float:
    """When the hold of that number begins, counted from 0, the first rest apart."""
    return plan.start_of(2 * number + 2)
