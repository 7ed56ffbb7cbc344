"""A whole spin in virtual time: timelines that read like sentences."""

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest

from daq.link import messages as m
from daq.link.framing import Deframer
from daq.records.wirelog import Kind
from daq.stand.plant.condition import Condition
from protocols.control import Control
from protocols.keeper import give
from protocols.limits import Limit
from protocols.outcome import Data, Ended
from protocols.phases import Phase
from protocols.plan import Plan, Segment
from protocols.retreat import RETREAT_S
from protocols.rules import Burst, Rules
from protocols.task import Task
from tests.spins import LIMITS, NONCE, plan, spin, task
from tests.virtual import VirtualSpin

SPINNING_S = 3.3  # into the plan: in its first dwell
SERVO_S = 0.003


def sent(run: VirtualSpin) -> list[m.ToStand | m.Unknown]:
    """Everything the host sent, in order."""
    deframer = Deframer()
    out = []
    for record in run.records:
        if record.kind is Kind.BYTES_OUT:
            out += [m.decode_to_stand(p) for p in deframer.feed(record.data)]
    return out


def _last(commands: list[m.ToStand | m.Unknown], kind: type[object]) -> int:
    """Index of the last command of that kind."""
    return max(i for i, c in enumerate(commands) if isinstance(c, kind))


def notes(run: VirtualSpin, kind: str) -> list[dict[str, object]]:
    """The notes of one kind."""
    made = (r.json() for r in run.records if r.kind is Kind.NOTE)
    return [note for note in made if note["note"] == kind]


def after(act: Callable[[VirtualSpin], None]) -> VirtualSpin:
    """A spin to which something happens while the motor turns."""
    run = spin()
    run.at_walk(SPINNING_S, act)
    run.run()
    return run


def assert_stopped(run: VirtualSpin) -> None:
    assert run.control.phase is Phase.ENDED
    assert run.device.pulse_s == pytest.approx(1e-3)
    assert run.device.state in (m.State.TRIPPED, m.State.LOCKED)


def test_a_good_spin_ends_completed_and_locked() -> None:
    run = spin()
    outcome = run.run().outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED
    assert outcome.data is Data.WHOLE
    assert outcome.stop_confirmed
    assert run.device.state is m.State.LOCKED
    held = [n["kind"] for n in notes(run, "segment")]
    assert held == [s.kind for s in plan().segments]


def test_the_zero_goes_into_the_limits_that_are_sent() -> None:
    run = spin()
    run.run()
    limits = [x for x in sent(run) if isinstance(x, m.Limits)][-1]
    pages = run.control.session.stand
    assert pages is not None
    thrust = pages.channel("thrust")
    assert thrust is not None
    entry = next(e for e in limits.entries if e.channel == thrust.index)
    # The shipped stand's cell rests far from its nominal zero.
    zero_n = notes(run, "zeroed")[0]["means"]["thrust"]  # type: ignore[index]
    assert abs(zero_n) > 0.5
    # What the cell reads at rest may be real load: it comes off what is left.
    assert thrust.to_si(entry.high) == pytest.approx(9.8, abs=1e-3)
    assert thrust.to_si(entry.low) == pytest.approx(-1.0 + zero_n, abs=1e-3)


def test_setpoints_never_leave_the_plans_bounds_nor_jump() -> None:
    run = spin()
    run.run()
    commands = sent(run)
    walked = commands[_last(commands, m.Arm) :]
    throttles = [x.setpoint for x in walked if isinstance(x, m.Throttle)]
    assert max(throttles) == 6000
    steps = [abs(b - a) for a, b in pairwise(throttles)]
    assert max(steps) <= 10_000 * 1.0 * 0.03  # 100 % a second, every 25 ms


def test_a_person_stops_it() -> None:
    run = after(lambda r: r.order(order="stop", why="ctrl-C"))
    outcome = run.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.cause) == (Ended.STOPPED, "ctrl-C")
    assert outcome.stop_confirmed
    assert_stopped(run)


@pytest.mark.parametrize(("into_s", "data"), [(1.5, Data.NONE), (3.4, Data.PARTIAL)])
def test_a_glide_that_was_walked_is_data_as_a_dwell_is(
    into_s: float, data: Data
) -> None:
    rest = Segment("rest", "rest", -1, 0.0, 0.0, 1.0)
    there = Segment("glide", "up", 0, 0.0, 0.2, 2.0)
    back = Segment("glide", "down", 0, 0.2, 0.0, 2.0)
    glides = Plan("glides", "There and back", (rest, there, back, rest))
    run = spin(Task(glides, LIMITS, NONCE))
    run.at_walk(into_s, lambda r: r.order(order="stop"))
    outcome = run.run().outcome
    assert outcome is not None
    assert (outcome.ended, outcome.data) == (Ended.STOPPED, data)


def test_a_stop_is_noted_with_what_acted_and_a_trip_with_when() -> None:
    def throw(run: VirtualSpin) -> None:
        run.device.plant.suffer(Condition(propeller_on=False))  # type: ignore[attr-defined]

    run = after(throw)
    (stop,) = notes(run, "stop")
    (trip,) = notes(run, "trip")
    assert stop["check"] == trip["check"] == "thrown"
    assert stop["device_s"] == trip["device_s"]


def test_on_the_way_down_every_channel_is_still_watched() -> None:
    # A plug whose budget stays used up for a while: every current says so, and the
    # voltage that comes after it in the same sample must be heard all the same.
    plug = Burst("plug", 1.0, 3.0, 1.0, "a plug for one ampere")
    run = spin(Task(plan((0.6,)), LIMITS, NONCE, Rules((plug,))))
    outcome = run.run().outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "burst")
    (trip,) = notes(run, "trip")
    (stop,) = notes(run, "stop")
    took_s = float(str(stop["device_s"])) - float(str(trip["device_s"]))
    assert took_s == pytest.approx(RETREAT_S, abs=0.01)


def test_no_throttle_ever_follows_a_stop() -> None:
    run = after(lambda r: r.order(order="stop"))
    commands = sent(run)
    armed = _last(commands, m.Arm)
    stop = next(
        i for i, c in enumerate(commands) if i > armed and isinstance(c, m.Stop)
    )
    assert all(isinstance(c, m.Stop) for c in commands[stop:])


def test_a_stop_is_repeated_until_confirmed_and_then_said_not_to_be() -> None:
    def cable_out_and_stop(run: VirtualSpin) -> None:
        run.cable = False
        run.order(order="stop")

    run = after(cable_out_and_stop)
    outcome = run.control.outcome
    assert outcome is not None
    assert not outcome.stop_confirmed
    commands = sent(run)
    stops = [c for c in commands[_last(commands, m.Arm) :] if isinstance(c, m.Stop)]
    assert 45 <= len(stops) <= 52  # every 20 ms for a second
    assert_stopped(run)  # by the lease, not by the host


def test_a_client_that_falls_silent_stops_the_motor() -> None:
    def freeze_client(run: VirtualSpin) -> None:
        run.beats = False

    run = after(freeze_client)
    outcome = run.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "beat")
    assert_stopped(run)


def test_a_frozen_host_is_stopped_by_the_lease_and_hears_of_it_later() -> None:
    run = spin()

    def freeze(run: VirtualSpin) -> None:
        run.host_runs = False

    def thaw(run: VirtualSpin) -> None:
        run.host_runs = True

    pulses: list[float] = []
    run.at_walk(SPINNING_S, freeze)
    run.at_walk(SPINNING_S + 0.210 + SERVO_S, lambda r: pulses.append(r.device.pulse_s))
    run.at_walk(SPINNING_S + 3.0, thaw)
    outcome = run.run().outcome
    assert pulses == [pytest.approx(1e-3)]
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "lease")


def test_a_lost_port_ends_the_run_and_says_when_the_motor_stops() -> None:
    def pull(run: VirtualSpin) -> None:
        run.cable = False
        run._input(Kind.LOST, b"The port is gone.")

    run = after(pull)
    outcome = run.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.FAILED, "link lost")
    assert "200 ms" in outcome.advice
    assert not outcome.stop_confirmed


def test_a_cable_that_carries_nothing_trips_on_silence() -> None:
    def cut(run: VirtualSpin) -> None:
        run.cable = False

    run = after(cut)
    outcome = run.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "silence")
    assert not outcome.stop_confirmed
    assert_stopped(run)


def test_a_stand_that_restarts_while_spinning_is_a_trip() -> None:
    run = after(lambda r: r.device.reset(m.Cause.WATCHDOG))
    outcome = run.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "restarted")
    assert_stopped(run)


def test_a_restart_is_noted_on_the_clock_that_went_before() -> None:
    run = after(lambda r: r.device.reset(m.Cause.BROWN_OUT))
    (stop,) = notes(run, "stop")
    last = notes(run, "segment")[-1]
    assert isinstance(stop["device_s"], float)
    assert isinstance(last["device_s"], float)
    assert 0 < stop["device_s"] - last["device_s"] < 1.0


def test_an_open_stop_loop_is_named() -> None:
    def open_loop(run: VirtualSpin) -> None:
        run.device.stop_loop_open = True

    outcome = after(open_loop).control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "stop loop")


def test_too_much_current_is_cut_by_the_stand_with_figures_and_advice() -> None:
    tight = (Limit("current", -3.0, 1.5, 3, 0.1, "plug 1.5 A"), *LIMITS[1:])
    run = spin(task(tight))
    outcome = run.run().outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "limit")
    assert "plug 1.5 A" in outcome.cause
    assert outcome.cause.startswith("The stand cut at a limit: current at 1.")
    assert outcome.advice
    assert outcome.data is Data.PARTIAL
    assert_stopped(run)


def test_the_host_cuts_where_a_stand_does_not() -> None:
    tight = (Limit("current", -3.0, 1.5, 3, 0.1, "plug 1.5 A"), *LIMITS[1:])
    run = spin(task(tight))

    def tire(run: VirtualSpin) -> None:
        run.device._protect = lambda: None  # type: ignore[method-assign]

    run.at_walk(0.5, tire)  # after the proof, which would have told
    outcome = run.run().outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "limit")
    trip = notes(run, "trip")[0]
    assert "above its limit" in str(trip["cause"])
    assert_stopped(run)


@pytest.mark.slow
def test_a_plug_that_nobody_puts_in_is_waited_for_and_nothing_is_armed() -> None:
    run = spin()
    run.obliging = False
    run.device.plant.plug_in = False  # type: ignore[attr-defined]
    run.device.stop_loop_open = True
    run.at(2.0, lambda r: setattr(r.device, "stop_loop_open", False))
    run.at(4.0, lambda r: setattr(r.device, "stop_loop_open", True))
    run.at(6.0, lambda r: setattr(r.device, "stop_loop_open", False))
    outcome = run.run(until_s=700.0).outcome
    assert run.asked == ["loop closed", "loop open", "loop closed", "plug in"]
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.STOPPED, "nobody there")
    assert not any(isinstance(c, m.Arm) for c in sent(run))


def test_a_loaded_cell_is_said_before_anything_is_armed() -> None:
    run = spin()
    run.device.plant.placed_load_n = 6.0  # type: ignore[attr-defined]
    outcome = run.run().outcome
    assert outcome is not None
    assert "something leans on it" in outcome.cause


def test_the_wrong_number_of_cells_is_said_before_anything_is_armed() -> None:
    limits = (LIMITS[0], Limit("voltage", 6.6, 8.6, 10, 0.1, "2 cells"), LIMITS[2])
    outcome = spin(task(limits)).run().outcome
    assert outcome is not None
    assert "outside its limit of 6.6 to 8.6 V (2 cells)" in outcome.cause
    assert "The pack has more cells than the article says." in outcome.cause
    assert "Nothing was armed." in outcome.cause


def test_a_stand_without_current_turns_no_motor() -> None:
    run = spin()
    names = [page.name for page in run.device.channels]
    run.device.channels = tuple(
        replace(page, name="ampere") if page.name == "current" else page
        for page in run.device.channels
    )
    assert "current" in names
    outcome = run.run().outcome
    assert outcome is not None
    assert "no current channel" in outcome.cause
    assert not any(isinstance(c, m.Arm) for c in sent(run))


def test_a_limit_on_what_the_stand_does_not_measure_is_said_and_left_out() -> None:
    extra = Limit("temperature", -math.inf, 350.0, 3, 0.5, "motor")
    run = spin(task((*LIMITS, extra)))
    outcome = run.run().outcome
    assert notes(run, "unguarded") == [
        {"note": "unguarded", "channels": ["temperature"]}
    ]
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED


def test_another_link_version_is_said() -> None:
    run = spin()
    run.device.link_version = 2
    outcome = run.run().outcome
    assert outcome is not None
    assert "speaks link version 2" in outcome.cause


def test_nothing_that_answers_is_said_after_three_seconds() -> None:
    run = spin()
    run.cable = False
    outcome = run.run().outcome
    assert outcome is not None
    assert "Nothing answered on test port within 3 s" in outcome.cause
    assert 2.9 < run.elapsed_s < 3.2


def test_chatter_of_another_program_is_said() -> None:
    control, now_ns = Control(task(), "test port"), 0
    give(control, Kind.TICK, now_ns, b"")
    while control.phase is not Phase.ENDED:
        now_ns += 10_000_000
        give(control, Kind.BYTES_IN, now_ns, b"T=23.4 ok\r\n")
    assert control.outcome is not None
    assert "is no gramwatt stand" in control.outcome.cause


def test_a_latched_stand_waits_for_a_person() -> None:
    run = spin()
    run.device.receive(b"\0" + _frame(m.Stop(m.StopReason.PERSON)))
    run.at(4.0, lambda r: r.order(order="acknowledge"))
    outcome = run.run().outcome
    assert notes(run, "latched")
    assert notes(run, "acknowledged")
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED


def test_a_go_over_a_latch_is_ignored() -> None:
    run = spin()
    run.device.receive(b"\0" + _frame(m.Stop(m.StopReason.PERSON)))
    run.at(4.0, lambda r: r.order(order="go"))
    run.at(5.0, lambda r: r.order(order="stop"))
    run.run()
    assert not any(isinstance(c, m.Arm) for c in sent(run))


def test_a_stand_that_somebody_else_armed_is_stopped() -> None:
    run = spin()
    # Another host armed it a moment ago, with limits of its own.
    run.step(40)
    limits = m.Limits((m.LimitEntry(1, -30000, 30000, 3, 100),))
    now_us = run.device.time_us
    run.device.receive(_frame(limits) + _frame(m.Arm(9, 1, limits.crc, 500, now_us), 1))
    outcome = run.run().outcome
    assert outcome is not None
    assert outcome.check == "armed by another"
    assert run.device.state is m.State.TRIPPED


def test_the_clock_may_pass_zero_while_spinning() -> None:
    run = spin(start_us=2**32 - 6_000_000)
    outcome = run.run().outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED
    starts = [float(str(n["device_s"])) for n in notes(run, "segment")]
    assert starts == sorted(starts)


def test_damage_on_the_line_is_counted_and_survived() -> None:
    run = spin()

    def damage(run: VirtualSpin) -> None:
        if run.to_host:
            when_ns, data = run.to_host.pop()
            run.to_host.append((when_ns, data[:5] + b"\x7f" + data[6:]))

    for step in range(20):
        run.at_walk(0.5 + step * 0.2, damage)
    outcome = run.run().outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED
    health = notes(run, "health")[0]
    assert health["damaged"] == pytest.approx(20, abs=2)


def test_an_order_nobody_knows_is_noted_and_ignored() -> None:
    run = after(lambda r: r.order(order="faster"))
    assert notes(run, "ignored")
    assert run.control.outcome is not None
    assert run.control.outcome.ended is Ended.COMPLETED


def test_a_sensor_that_falls_silent_is_named_without_its_last_reading() -> None:
    def silence(run: VirtualSpin) -> None:
        run.device.plant.take_conversion = lambda: None  # type: ignore[method-assign]

    outcome = after(silence).control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "silence")
    assert "thrust fell silent: nothing for 500 ms" in outcome.cause
    assert "allowed" not in outcome.cause


def _frame(command: m.ToStand, sequence: int = 0) -> bytes:
    from daq.link.framing import frame

    return frame(m.encode(command, sequence))
