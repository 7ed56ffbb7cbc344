"""Stands that print lines: spun under what protection there is, in virtual time."""

import json
from collections.abc import Iterator
from dataclasses import replace

import pytest

from daq.errors import InputFault
from daq.records.wirelog import Kind
from daq.stand.faults.article import (
    EscIgnoringZero,
    EscNotArming,
    PlugOut,
    StalledMotor,
    ThrownPropeller,
)
from daq.stand.faults.fault import Fault
from daq.stand.faults.sensors import FrozenSensor
from daq.stand.lines import LineStand
from protocols.control import Control
from protocols.keeper import give
from protocols.outcome import Ended
from protocols.recipe import expand, load_recipe
from protocols.task import Task
from tests.lined import DESCRIPTION, slow, spin_on_lines, timeless
from tests.spins import LIMITS, NONCE, plan
from tests.virtual import VirtualSpin

ALL = {
    "own clock": DESCRIPTION,
    "ten a second": slow(),
    "no clock": timeless(),
    "no clock, ten a second": timeless(slow()),
}


def notes(spin: VirtualSpin, kind: str) -> list[dict[str, object]]:
    """The notes of one kind that a spin has left."""
    told: Iterator[dict[str, object]] = (
        json.loads(r.data) for r in spin.records if r.kind is Kind.NOTE
    )
    return [note for note in told if note["note"] == kind]


def line_stand(spin: VirtualSpin) -> LineStand:
    """The stand of a spin."""
    stand: object = spin.device
    assert isinstance(stand, LineStand)
    return stand


@pytest.mark.parametrize("text", ALL.values(), ids=ALL)
def test_a_plan_is_walked_to_its_end(text: str) -> None:
    spin = spin_on_lines(text)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED
    assert outcome.stop_confirmed
    assert line_stand(spin).throttle_frac == 0.0


def test_the_record_tells_what_the_stand_lacks_and_who_speaks_for_it() -> None:
    spin = spin_on_lines()
    spin.run(60.0)
    (unprotected,) = notes(spin, "unprotected")
    assert "may run on until the plug is pulled" in str(unprotected["lacks"])
    assert {note.get("by") for note in notes(spin, "told")} == {"this program"}
    assert {note.get("by") for note in notes(spin, "reply")} == {"this program"}
    assert {note.get("by") for note in notes(spin, "proved")} == {"this program"}
    assert notes(spin, "stop confirmed") == []
    (identified,) = notes(spin, "identified")
    assert identified["simulated"]


@pytest.mark.parametrize("text", ALL.values(), ids=ALL)
def test_the_supply_is_waited_for_and_not_before_it_is_asked_for(text: str) -> None:
    spin = spin_on_lines(text)
    line_stand(spin).plug_in = False
    outcome = spin.run(60.0).outcome
    assert spin.asked == ["plug in"]
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED


def test_the_stop_is_proven_with_the_motor_running() -> None:
    spin = spin_on_lines()
    spin.run(60.0)
    (proved,) = notes(spin, "proved")
    assert proved["guard"] == "lease while running"
    assert [note["part"] for note in notes(spin, "proven")] == ["c"]


@pytest.mark.parametrize("text", [DESCRIPTION, slow()], ids=["80/s", "10/s"])
@pytest.mark.parametrize(
    ("fault", "check"),
    [
        (ThrownPropeller(), ("thrown", "plausible")),
        (StalledMotor(), ("limit",)),
        (PlugOut(), ("limit",)),
        (FrozenSensor(channel="current"), ("frozen",)),
    ],
    ids=lambda x: x.kind if isinstance(x, Fault) else "",
)
def test_this_program_guards_in_the_stand_s_place(
    fault: Fault, check: tuple[str, ...], text: str
) -> None:
    # What comes slowly is looked at for longer before the plan begins.
    later_s = 0.0 if text == DESCRIPTION else 1.0
    struck = replace(fault, start_s=9.0 + later_s)
    spin = spin_on_lines(text, faults=[struck])
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.TRIPPED
    assert outcome.check in check
    assert line_stand(spin).throttle_frac == 0.0


@pytest.mark.parametrize(
    ("rate_hz", "decimals"),
    [
        (25, 2),
        *[
            pytest.param(*case, marks=pytest.mark.slow)
            for case in ((10, 1), (10, 2), (25, 1), (80, 1), (80, 2))
        ],
    ],
)
def test_an_esc_that_ignores_zero_is_found_before_the_plan(
    rate_hz: float, decimals: int
) -> None:
    # Also by a sensor that tells tenths of an ampere only, a motor's least current.
    coarse = DESCRIPTION.replace('"A"\ndecimals = 2', f'"A"\ndecimals = {decimals}')
    for seed in range(1, 5):
        text = slow(coarse, rate_hz)
        spin = spin_on_lines(text, faults=[EscIgnoringZero()], seed=seed)
        outcome = spin.run(60.0).outcome
        assert outcome is not None
        assert outcome.check in ("proof: lease while running", "frozen")
        assert not outcome.stop_confirmed
        assert notes(spin, "segment") == notes(spin, "proved") == []


def test_a_motor_that_does_not_start_is_found_before_the_plan() -> None:
    outcome = spin_on_lines(faults=[EscNotArming()]).run(60.0).outcome
    assert outcome is not None
    assert outcome.check == "proof: lease while running"
    assert outcome.stop_confirmed


def test_a_cable_that_falls_out_stops_what_can_be_stopped() -> None:
    spin = spin_on_lines()

    def cut(spin: VirtualSpin) -> None:
        spin.cable = False

    spin.at_walk(4.0, cut)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.check == "silence"
    # Nothing is known of the motor, and nobody may believe otherwise.
    assert not outcome.stop_confirmed
    assert line_stand(spin).throttle_frac > 0.0


def test_a_lost_port_says_that_only_the_plug_helps() -> None:
    spin = spin_on_lines()

    def lose(spin: VirtualSpin) -> None:
        spin.control.link_lost("The port is gone.")

    spin.at_walk(4.0, lose)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert "PULL THE ARMING PLUG" in outcome.advice
    assert not outcome.stop_confirmed


def test_a_missing_keep_alive_stops_a_stand_that_heeds_it() -> None:
    text = DESCRIPTION + 'keep_alive = "K\\n"\nkeep_alive_period_s = 0.2\n'
    spin = spin_on_lines(text, heeds_keep_alive=True)

    def die(spin: VirtualSpin) -> None:
        spin.host_runs = False
        spin.beats = False

    spin.at_walk(4.0, die)
    stand = line_stand(spin)
    while spin.armed_ns is None or (spin.host_ns - spin.armed_ns) * 1e-9 < 4.0:
        spin.step()
    assert stand.throttle_frac > 0.0
    for _ in range(500):
        spin.step()
    assert stand.throttle_frac == 0.0


@pytest.mark.parametrize(("boot_s", "check"), [(0.02, "restarted"), (0.5, "silence")])
def test_a_stand_that_begins_again_ends_the_spin(boot_s: float, check: str) -> None:
    spin = spin_on_lines()
    spin.at_walk(4.0, lambda spin: line_stand(spin).restart(boot_s))
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.check == check


def test_a_replay_decides_the_same() -> None:
    spin = spin_on_lines()
    spin.run(60.0)
    control = Control(spin.control.task, "test port")
    said: list[tuple[Kind, bytes]] = []
    for record in spin.records:
        if record.kind in (Kind.BYTES_OUT, Kind.NOTE):
            continue
        outputs = give(control, record.kind, record.time_ns, record.data)
        said += [(Kind.BYTES_OUT, write) for write in outputs.writes]
    written = [(r.kind, r.data) for r in spin.records if r.kind is Kind.BYTES_OUT]
    assert said == written


def test_nothing_goes_beyond_the_caps() -> None:
    with pytest.raises(InputFault, match=r"70 % throttle.*60 % is the most"):
        Task(plan((0.3, 0.7)), LIMITS, NONCE, lines=DESCRIPTION)
    with pytest.raises(InputFault, match="90 s is the most"):
        Task(plan((0.3, 0.5), dwell_s=45.0), LIMITS, NONCE, lines=DESCRIPTION)
    with pytest.raises(InputFault, match="prints 8 lines a second"):
        Task(plan((0.3,)), LIMITS, NONCE, lines=slow(rate_hz=8))
    silent = DESCRIPTION[: DESCRIPTION.index("[commands]")]
    with pytest.raises(InputFault, match="cannot be told a throttle"):
        Task(plan((0.3,)), LIMITS, NONCE, lines=silent)


def test_a_task_is_kept_with_the_description() -> None:
    task = Task(plan((0.3,)), LIMITS, NONCE, lines=DESCRIPTION)
    assert Task.from_dict(json.loads(json.dumps(task.to_dict()))) == task
    assert "lines" not in Task(plan(), LIMITS, NONCE).to_dict()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 5))
@pytest.mark.parametrize("rate_hz", [10, 12, 25, 80])
def test_good_spins_are_not_tripped(seed: int, rate_hz: float) -> None:
    walked = expand(load_recipe("low-staircase"))
    for text in (slow(rate_hz=rate_hz), timeless(slow(rate_hz=rate_hz))):
        spin = spin_on_lines(text, walked=walked, seed=seed)
        spin.keep_records = False
        outcome = spin.run(90.0).outcome
        assert outcome is not None
        assert outcome.ended is Ended.COMPLETED, outcome.cause
