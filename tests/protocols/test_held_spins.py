"""Whole spins that hold a thrust until the pack is empty, in virtual time.

A pack of a small part of the usual charge, so that a hold takes two minutes.
"""

from itertools import pairwise

import pytest

from daq.link import messages as m
from daq.link.framing import Deframer
from daq.records.wirelog import Kind
from daq.stand.faults.article import PlugOut, ThrownPropeller
from daq.stand.faults.fault import Fault
from daq.stand.faults.sensors import FrozenSensor, OffsetSensor, SilentSensor
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.caps import ruled
from protocols.control import Control
from protocols.endurance import END_MARGIN_CELL_V
from protocols.holding import End
from protocols.outcome import Data, Ended
from protocols.recipe import expand, load_recipe
from protocols.task import Task
from tests.protocols.articles import article
from tests.protocols.test_replay import record_of, replayed
from tests.spins import NONCE
from tests.virtual import VirtualSpin
from ui.ordered import limits_for, rules_for

SMALL_C = 120.0
FLOOR_V = 3 * (3.3 + END_MARGIN_CELL_V)


def small(capacity_c: float = SMALL_C, **pack: object) -> Truth:
    """The shipped stand with a small pack."""
    truth = shipped_truth()
    changed = truth.pack.model_copy(update={"capacity_c": capacity_c, **pack})
    return truth.model_copy(update={"pack": changed})


def held_spin(
    truth: Truth | None = None, seed: int = 1, **recipe: object
) -> VirtualSpin:
    """A spin of the shipped endurance protocol, not yet run."""
    quad = article()
    kept = load_recipe("hover-endurance").model_dump(exclude_none=True)
    kept["rest_s"] = {"before": 2.0, "after": 5.0}
    plan = expand(
        type(load_recipe("hover-endurance")).model_validate(kept | recipe), quad
    )
    task = Task(plan, limits_for(quad, 1000.0), NONCE, ruled(plan, rules_for(quad)))
    bench = Plant(truth or small(), seed)
    return VirtualSpin(Control(task, "test port"), FaultyStand(bench))


def notes(run: VirtualSpin, kind: str) -> list[dict[str, object]]:
    told = [r.json() for r in run.records if r.kind is Kind.NOTE]
    return [note for note in told if note["note"] == kind]


def throttles(run: VirtualSpin) -> list[tuple[float, float]]:
    """Every throttle that was sent while the plan was walked: seconds and fraction."""
    assert run.armed_ns is not None
    sent, ear = [], Deframer()
    for record in run.records:
        if record.kind is not Kind.BYTES_OUT or record.time_ns < run.armed_ns:
            continue
        for payload in ear.feed(record.data):
            message = m.decode_to_stand(payload)
            if isinstance(message, m.Throttle):
                now_s = 1e-9 * (record.time_ns - run.armed_ns)
                sent.append((now_s, message.setpoint / m.THROTTLE_FULL))
    return sent


@pytest.fixture(scope="module")
def walked() -> VirtualSpin:
    run = held_spin()
    run.run()
    return run


@pytest.mark.slow
def test_a_pack_is_emptied_to_its_floor_and_the_run_is_whole(
    walked: VirtualSpin,
) -> None:
    outcome = walked.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.data) == (Ended.COMPLETED, Data.WHOLE)
    (held,) = notes(walked, "held")
    assert held["end"] == End.FLOOR
    assert held["voltage_v"] == pytest.approx(FLOOR_V, abs=0.03)
    assert notes(walked, "holding")[0]["throttle_frac"] == 0.25
    plant = walked.device.bench  # type: ignore[attr-defined]
    assert plant.state.charge_frac < 0.15


@pytest.mark.slow
def test_the_thrust_is_held_meanwhile(walked: VirtualSpin) -> None:
    goal_n = walked.control.task.plan.goals[0].thrust_n
    told = [note["thrust_n"] for note in notes(walked, "holding")[25:-8]]
    assert len(told) > 20
    for thrust_n in told:
        assert thrust_n == pytest.approx(goal_n, rel=0.03)


@pytest.mark.slow
def test_what_is_sent_never_jumps_nor_leaves_its_throttles(
    walked: VirtualSpin,
) -> None:
    sent = throttles(walked)
    hold = next(n for n in notes(walked, "segment") if n["kind"] == "hold")
    begin_s = float(str(hold["device_s"])) - float(
        str(notes(walked, "segment")[0]["device_s"])
    )
    (held,) = notes(walked, "held")
    end_s = begin_s + float(str(held["lasted_s"]))
    inside = [(s, frac) for s, frac in sent if begin_s + 0.05 < s < end_s - 0.05]
    for (s0, before), (s1, after) in pairwise(inside):
        assert after - before <= 0.02 * (s1 - s0) + 2e-4
    most = max(frac for _, frac in sent)
    assert most == pytest.approx(inside[-1][1], abs=5e-4)
    assert most < 0.5
    down = [frac for s, frac in sent if s > end_s]
    assert down == sorted(down, reverse=True)
    assert down[-1] == 0.0


@pytest.mark.slow
def test_a_replay_holds_the_same(walked: VirtualSpin) -> None:
    live = record_of(walked)
    assert replayed(live) == live


def test_what_comes_first_ends_it() -> None:
    run = held_spin(longest_s=30.0, start_percent=35)
    control = run.run()
    assert control.outcome is not None
    assert control.outcome.ended is Ended.COMPLETED
    (held,) = notes(run, "held")
    assert held["end"] == End.LONGEST
    assert held["lasted_s"] == pytest.approx(30.0, abs=0.05)


def test_a_thrust_that_its_throttles_never_give_is_told() -> None:
    run = held_spin(small(400.0), thrust_gf=200, highest_percent=30, longest_s=30.0)
    control = run.run()
    assert control.outcome is not None
    assert control.outcome.ended is Ended.COMPLETED
    assert notes(run, "held")[0]["end"] == End.NOT_REACHED


def faulty(fault: Fault, into_s: float = 14.0) -> VirtualSpin:
    """A hold in which something goes wrong after it came to its goal."""
    run = held_spin(small(150.0), start_percent=30)
    run.at_walk(into_s, lambda run: run.device.add(fault))  # type: ignore[attr-defined]
    run.run()
    return run


@pytest.mark.parametrize(
    ("fault", "names"),
    [
        (ThrownPropeller(), {"thrown"}),
        (SilentSensor(channel="thrust"), {"silence"}),
        (SilentSensor(channel="voltage"), {"silence", "limit"}),
        (FrozenSensor(channel="thrust"), {"frozen"}),
        (OffsetSensor(channel="thrust", offset_si=-0.3), {"plausible", "hold"}),
        (OffsetSensor(channel="thrust", offset_si=0.5), {"plausible", "hold"}),
        (PlugOut(), {"limit", "stalled", "thrown"}),
    ],
)
def test_a_fault_in_a_hold_trips_by_its_name_and_the_throttle_never_rises(
    fault: Fault, names: set[str]
) -> None:
    run = faulty(fault)
    outcome = run.control.outcome
    assert outcome is not None
    assert outcome.ended is Ended.TRIPPED
    assert outcome.check in names
    sent = throttles(run)
    before = [frac for s, frac in sent if s < 14.0][-1]
    after = [frac for s, frac in sent if s > 14.0]
    assert (
        max(after, default=0.0) <= before + 0.02 * 3.0
    )  # of a trip within three seconds
    assert run.device.state is m.State.TRIPPED


def test_after_a_stop_in_a_hold_no_throttle_leaves() -> None:
    run = held_spin(small(150.0), start_percent=30)
    run.at_walk(14.0, lambda run: run.order(order="stop"))
    control = run.run()
    assert control.outcome is not None
    assert control.outcome.ended is Ended.STOPPED
    assert control.outcome.stop_confirmed
    stopped_ns = next(
        r.time_ns
        for r in run.records
        if r.kind is Kind.NOTE and r.json()["note"] == "stop"
    )
    assert run.armed_ns is not None
    assert throttles(run)[-1][0] <= 1e-9 * (stopped_ns - run.armed_ns)
    assert not notes(run, "held")


@pytest.mark.slow
def test_a_drifting_cell_is_noticed_by_the_hold_alone() -> None:
    """Too slow for every other check: a cell that creeps down takes the throttle up."""
    run = held_spin(small(600.0))

    def creep(run: VirtualSpin) -> None:
        for number in range(60):
            fault = OffsetSensor(channel="thrust", offset_si=-0.005, start_s=0.0)
            run.at_walk(
                25.0 + number,
                lambda run, fault=fault: run.device.add(fault),  # type: ignore[misc]
            )

    creep(run)
    control = run.run()
    assert control.outcome is not None
    assert control.outcome.check == "hold"
    assert max(frac for _, frac in throttles(run)) < 0.45


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3])
def test_minutes_of_holding_are_no_fault(seed: int) -> None:
    run = held_spin(small(300.0), seed)
    run.keep_records = False
    control = run.run(3600.0)
    assert control.outcome is not None
    assert control.outcome.ended is Ended.COMPLETED


@pytest.mark.slow
@pytest.mark.parametrize(
    "pack",
    [
        {"charge_frac": 0.3, "resistance_ohm": 0.3},
        {"charge_frac": 0.4, "slow_resistance_ohm": 0.2, "slow_time_s": 5.0},
        {"charge_frac": 0.1},
    ],
)
def test_other_packs_are_emptied_without_a_false_trip(pack: dict[str, object]) -> None:
    run = held_spin(small(**pack))  # type: ignore[arg-type]
    control = run.run()
    assert control.outcome is not None
    assert control.outcome.ended is Ended.COMPLETED
    assert notes(run, "held")[0]["end"] == End.FLOOR
