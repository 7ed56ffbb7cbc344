"""A spin as a window shows it, with a keeper in virtual time behind it."""

import json
import math
from collections.abc import Mapping
from pathlib import Path

import pytest

from daq.clock import JumpingClock
from daq.link.messages import State
from daq.records.wirelog import Kind, Record
from daq.stand.faults.article import ThrownPropeller
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.phases import Phase
from tests.lined import DESCRIPTION, spin_on_lines
from tests.spins import task
from tests.virtual import START_NS, VirtualSpin
from ui.cautions import HAND_WORDS, HANDS
from ui.cli.plan import chosen_article
from ui.desktop.model.spinning import Spinning, Stage
from ui.ordered import Order


class VirtualKeeper:
    """A keeper's client over a spin in virtual time."""

    folder = Path("runs/virtual")

    def __init__(self, spin: VirtualSpin) -> None:
        self.spin = spin
        self.orders: list[dict[str, object]] = []
        self.beats = 0
        self.killed = False
        self.mute = False
        self._given = 0

    @property
    def running(self) -> bool:
        return self.spin.control.phase is not Phase.ENDED and not self.killed

    def order(self, order: str, **fields: object) -> None:
        self.orders.append({"order": order} | fields)
        self.spin.order(order=order, **fields)

    def beat(self) -> None:
        self.beats += 1
        self.spin.order(order="beat")

    def fresh(self) -> list[Record]:
        if self.mute:
            return []
        records = self.spin.records[self._given :]
        self._given = len(self.spin.records)
        return records

    def finish(self, patience_s: float = 5.0) -> Mapping[str, object]:
        outcome = self.spin.control.outcome
        return {"outcome": outcome.to_dict()} if outcome else {}

    def kill(self) -> None:
        self.killed = True


class Own:
    """The hands at a simulated stand of our own."""

    def __init__(self, spin: VirtualSpin) -> None:
        self.spin = spin

    def plug(self, *, inserted: bool) -> None:
        self.spin.device.plug_in = inserted  # type: ignore[attr-defined]

    def stop_loop(self, *, closed: bool) -> None:
        self.spin.device.stop_loop_open = not closed


class Bench:
    """A window's model before a keeper, both driven along one virtual time."""

    def __init__(self, spin: VirtualSpin, *, own: bool) -> None:
        spin.beats = spin.obliging = False
        spin.went = True  # nobody says go but the model
        self.spin = spin
        self.clock = JumpingClock(START_NS * 1e-9)
        self.keeper = VirtualKeeper(spin)
        order = Order(chosen_article(None), spin.control.task)
        hands = Own(spin) if own else None
        self.model = Spinning(order, self.keeper, self.clock, hands)
        spin._input(Kind.TICK, b"")

    def live(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.02)):
            for _ in range(10):
                self.spin.step()
            self.clock.sleep(0.02)
            self.model.step()
            if self.model.over:
                return

    def until(self, stage: Stage, within_s: float = 60.0) -> None:
        for _ in range(round(within_s / 0.1)):
            if self.model.stage is stage:
                return
            self.live(0.1)
        raise AssertionError(f"{self.model.stage} and not {stage}")


def faulty() -> VirtualSpin:
    stand = FaultyStand(Plant(shipped_truth(), 1))
    return VirtualSpin(Control(task(), "test port"), stand)


def is_so(value: object) -> bool:
    """Asked anew: a property may have changed since."""
    return bool(value)


@pytest.fixture
def bench() -> Bench:
    return Bench(faulty(), own=True)


@pytest.fixture
def real() -> Bench:
    return Bench(faulty(), own=False)


def armed(bench: Bench) -> None:
    bench.until(Stage.READY)
    bench.model.unlock()
    bench.model.go()
    bench.until(Stage.RUNNING)


def test_our_own_simulation_is_proven_armed_and_walked(bench: Bench) -> None:
    bench.until(Stage.PROVING)
    bench.until(Stage.READY)
    parts = {row.part for row in bench.model.proved}
    assert parts == {"a"}
    assert len(bench.model.proved) >= 8
    assert bench.model.state is State.LOCKED
    armed(bench)
    assert bench.model.may_turn
    assert {row.part for row in bench.model.proved} == {"a", "c"}
    bench.live(60.0)
    assert bench.model.over
    assert bench.model.stage is Stage.ENDED
    assert bench.model.outcome is not None
    assert bench.model.outcome["ended"] == "completed"
    assert bench.model.danger == ""
    go = next(o for o in bench.keeper.orders if o["order"] == "go")
    assert go["checklist"] == "waived: own simulation"


def test_it_takes_two_steps_and_nothing_skips_the_first() -> None:
    bench = Bench(spin_on_lines(DESCRIPTION), own=False)
    for item in bench.model.checklist.items:
        bench.model.acknowledge(item.name)
    bench.model.declare(HAND_WORDS)
    bench.until(Stage.READY)
    bench.model.go()
    bench.live(0.5)
    assert bench.model.stage is Stage.READY
    bench.model.unlock()
    assert bench.model.unlocked
    bench.model.unlock(so=False)
    bench.model.go()
    bench.live(0.5)
    assert bench.model.stage is Stage.READY
    assert all(o["order"] != "go" for o in bench.keeper.orders)


def test_in_our_own_simulation_one_step_is_enough(bench: Bench) -> None:
    bench.until(Stage.READY)
    assert bench.model.unlocked
    bench.model.go()
    bench.until(Stage.RUNNING)


def test_before_it_is_ready_there_is_nothing_to_unlock(bench: Bench) -> None:
    bench.model.unlock()
    bench.model.go()
    bench.until(Stage.PROVING)
    bench.model.unlock()
    assert not bench.model.unlocked
    assert all(o["order"] != "go" for o in bench.keeper.orders)


def test_on_a_real_stand_a_person_is_asked_for_every_hand(real: Bench) -> None:
    real.until(Stage.PROVING)
    real.live(2.5)
    assert real.model.hand == HANDS["plug out"]
    real.spin.device.plug_in = False  # type: ignore[attr-defined]
    real.live(6.0)
    assert real.model.hand == HANDS["loop open"]
    real.spin.device.stop_loop_open = True
    real.live(1.0)
    assert real.model.hand == HANDS["loop closed"]
    real.spin.device.stop_loop_open = False
    real.until(Stage.PLUGGING)
    assert not is_so(real.model.plug_wanted)  # not before the checklist
    for item in real.model.checklist.items:
        real.model.acknowledge(item.name)
    assert is_so(real.model.plug_wanted)
    real.spin.device.plug_in = True  # type: ignore[attr-defined]
    real.until(Stage.READY)
    armed(real)
    go = next(o for o in real.keeper.orders if o["order"] == "go")
    assert go["checklist"] == [item.name for item in real.model.checklist.items]


def test_an_item_taken_back_forbids_the_spin(real: Bench) -> None:
    for item in real.model.checklist.items:
        real.model.acknowledge(item.name)
    assert is_so(real.model.checklist.complete)
    real.model.acknowledge(real.model.checklist.items[0].name, so=False)
    assert not is_so(real.model.checklist.complete)
    assert not real.model.may_unlock


def test_a_stop_is_answered_with_the_time_it_took(bench: Bench) -> None:
    armed(bench)
    bench.live(3.0)
    bench.model.stop()
    bench.live(0.2)
    answer = bench.model.stop_answer
    assert answer is not None
    assert 0 <= answer.took_s < 0.1
    assert not answer.failed
    bench.live(5.0)
    assert bench.model.outcome is not None
    assert bench.model.outcome["ended"] == "stopped"


def test_a_stop_that_nobody_confirms_is_said_to_be_none(bench: Bench) -> None:
    armed(bench)
    bench.live(3.0)
    bench.spin.cable = False
    bench.model.stop()
    bench.live(0.5)
    assert bench.model.stop_answer is not None
    assert math.isnan(bench.model.stop_answer.took_s)
    bench.live(4.0)
    assert bench.model.stop_answer.failed
    assert "CUT THE POWER" in bench.model.danger


def test_a_silent_keeper_is_an_alarm_and_asked_twice_it_is_ended(bench: Bench) -> None:
    armed(bench)
    bench.keeper.mute = True
    bench.live(2.0)
    assert "The keeper is silent" in bench.model.danger
    bench.model.stop()
    assert not is_so(bench.keeper.killed)
    bench.model.stop()
    assert is_so(bench.keeper.killed)


def test_a_thrown_propeller_is_told(bench: Bench) -> None:
    def throw(spin: VirtualSpin) -> None:
        stand = spin.device
        assert isinstance(stand, FaultyStand)
        stand.add(ThrownPropeller(start_s=stand.elapsed_s))

    bench.spin.at_walk(3.2, throw)
    armed(bench)
    bench.live(30.0)
    assert bench.model.trip is not None
    assert bench.model.trip["check"] == "thrown"
    assert bench.model.outcome is not None
    assert bench.model.outcome["ended"] == "tripped"


def test_it_beats_as_often_as_it_is_stepped(bench: Bench) -> None:
    bench.live(10.0)
    assert 40 <= bench.keeper.beats <= 60


def test_a_window_that_hangs_stops_the_motor(bench: Bench) -> None:
    armed(bench)
    bench.live(2.0)
    for _ in range(700):
        bench.spin.step()  # and the model is not stepped
    outcome = bench.spin.control.outcome or bench.spin.control._ending.pending
    assert outcome is not None
    assert outcome.check == "beat"


def test_a_stand_that_prints_lines_wants_typed_words() -> None:
    made = Bench(spin_on_lines(DESCRIPTION), own=False)
    made.until(Stage.READY)
    for item in made.model.checklist.items:
        made.model.acknowledge(item.name)
    assert not is_so(made.model.checklist.complete)
    assert not made.model.declare("yes")
    assert made.model.declare(" My hand is on the plug. ")
    assert is_so(made.model.checklist.complete)
    armed(made)
    go = next(o for o in made.keeper.orders if o["order"] == "go")
    recorded = go["checklist"]
    assert isinstance(recorded, list)
    assert recorded[-1] == "hand on plug"
    made.live(3.0)
    made.model.stop()
    made.live(6.0)
    assert made.model.stop_answer is not None
    assert made.model.stop_answer.took_s < 5.0
    assert made.model.state is State.TRIPPED


def test_a_plateau_is_drawn_where_it_is(bench: Bench) -> None:
    armed(bench)
    bench.live(4.0)
    assert bench.model.live.elapsed_s == pytest.approx(4.0, abs=0.2)
    now_s = bench.clock.now_s()
    assert bench.model.heard.reading("current", now_s).value > 0.2
    assert json.dumps(bench.model.told[-1])
