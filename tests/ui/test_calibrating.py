"""A channel calibrated step by step, on the simulated stand in virtual time."""

import math
import tomllib

import numpy as np
import pytest

from daq.calibration.example import EXAMPLE
from daq.calibration.meter import meter_from, metered
from daq.calibration.standards import masses_of, standards_from
from daq.calibration.text import to_text
from daq.errors import InputFault, StandFault
from daq.link.session import Identified, Restarted
from daq.stand.faults.sensors import FrozenSensor
from daq.stand.plant.truth import shipped_truth
from tests.ui.weighed import Weighing, weighing
from ui.calibrating import Calibrating
from ui.calibration_steps import checking, loading, metering
from ui.calibration_words import resolved, told

KNOWN = masses_of(standards_from(tomllib.loads(EXAMPLE), "the example"))
UTC = "2026-05-09T09:30:00+00:00"


def begun(steps: int, **how: object) -> Weighing:
    """A weighing with so many steps done."""
    scale = weighing(KNOWN, **how)  # type: ignore[arg-type]
    for _ in range(steps):
        assert scale.do()
    return scale


# ------------------------------------------------------------ the whole way


def test_a_whole_calibration_finds_the_stands_true_gain() -> None:
    scale = weighing(KNOWN, series=2, hold_s=10.0)
    scale.walk()
    made = scale.model.finish(KNOWN, UTC, specimen="x", simulated=True)
    true = scale.stand.bench.true_counts_per_unit["thrust"]
    assert 1.0 / made.slope_si == pytest.approx(true, rel=3e-4)
    assert made.subject.stand_id == scale.stand.stand_id
    assert made.subject.simulated
    # Known to what the lever is known to, and hardly less.
    assert made.u_rel == pytest.approx(0.0035, rel=0.05)
    labels = [label for label, _ in told(made)]
    assert {"calibrated", "known to", "linearity", "lever", "gravity"} <= set(labels)
    assert '"gramwatt calibration"' in to_text(made)


def test_a_wrong_mass_on_the_pan_is_named_at_the_end() -> None:
    swapped = np.array([20.0, 50.0, 100.0, 50.0, 200.0])  # 50 where 100 with the dot is
    force_n = KNOWN.si_per_piece_unit * np.cumsum(swapped)
    scale = weighing(KNOWN, force_n=list(force_n), series=2, hold_s=0.0)
    scale.walk()
    with pytest.raises(InputFault, match='"100 g with the dot" does not fit'):
        scale.model.finish(KNOWN, UTC)


def test_steps_say_what_to_set_down_and_what_to_take_off() -> None:
    words = [step.words for step in loading(KNOWN, series=2, hold_s=30.0)]
    assert words[0] == "Take everything off: nothing on it."
    assert words[2] == "Set down 50 g. Now 70 g."
    assert words[6] == "Leave the 470 g on for 30 s."
    assert words[7] == "Take off 200 g. Now 270 g."
    assert words[11] == "Take everything off."
    assert words[12].startswith("Take everything off, the pan or hook too")
    assert len(words) == 12 + 11


def test_one_at_a_time_exchanges_masses() -> None:
    content = tomllib.loads(EXAMPLE) | {"order": "one at a time"}
    alone = masses_of(standards_from(content, "the example"))
    words = [step.words for step in loading(alone, series=1, hold_s=0.0)]
    assert words[2] == "Take off 20 g. Set down 50 g. Now 50 g."


# ------------------------------------------------------------ one reading


def test_a_reading_waits_until_it_has_settled() -> None:
    scale = begun(1)
    scale.set_down(4)
    before_s = scale.now_s
    scale.model.take(scale.now_s)
    assert scale.model.taking
    assert scale.model.left_s > 2.0
    scale.until(lambda: not scale.model.taking, 30.0)
    assert scale.now_s - before_s > 2.75
    (zero, load) = scale.model.readings
    true = scale.stand.bench.true_counts_per_unit["thrust"]
    assert load.counts - zero.counts == pytest.approx(
        true * scale.force_n[4], abs=5.0 * load.u_counts
    )
    assert 100 < load.count < 500
    assert load.u_counts < load.sd_counts / 5.0


def test_what_does_not_come_to_rest_is_refused_once_and_then_taken() -> None:
    scale = begun(1)
    bench = scale.stand.bench

    def swing() -> bool:
        bench.placed_load_n += 2e-4  # somebody pours sand on it
        return not scale.model.taking

    scale.model.take(scale.now_s)
    assert scale.until(swing, 60.0)
    assert len(scale.model.readings) == 1
    assert "does not come to rest" in scale.model.said[-1]
    scale.model.take(scale.now_s)
    assert scale.until(swing, 60.0)
    assert len(scale.model.readings) == 2


def test_a_mass_that_comes_late_is_waited_for() -> None:
    scale = begun(1)
    scale.set_down(0)
    scale.model.take(scale.now_s)
    scale.pass_time(2.0)  # in the middle of what is averaged
    scale.set_down(1)
    scale.until(lambda: not scale.model.taking, 30.0)
    zero, load = scale.model.readings
    true = scale.stand.bench.true_counts_per_unit["thrust"]
    assert load.counts - zero.counts == pytest.approx(true * scale.force_n[1], abs=20)


def test_the_live_reading_says_whether_it_is_steady() -> None:
    scale = begun(1)
    scale.pass_time(2.0)
    assert scale.model.live(scale.now_s).steady
    for _ in range(20):
        scale.stand.bench.placed_load_n += 5e-3
        scale.pass_time(0.05)
    moving = scale.model.live(scale.now_s)
    assert not moving.steady
    assert moving.moving_counts > 0.0
    assert math.isnan(scale.model.live(scale.now_s + 5.0).value_si)


def test_a_cable_that_comes_out_ends_the_reading_with_a_sentence() -> None:
    scale = begun(1)
    scale.model.take(scale.now_s)
    scale.cable = False
    scale.until(lambda: not scale.model.taking, 20.0)
    assert "stopped sending" in scale.model.said[-1]
    assert len(scale.model.readings) == 1


# ------------------------------------------------------------ what forbids it


def test_nothing_is_weighed_while_the_supply_is_on() -> None:
    scale = weighing(KNOWN, plug_in=True)
    scale.pass_time(1.0)
    with pytest.raises(InputFault, match="supply is on"):
        scale.model.take(scale.now_s)
    scale.stand.plug_in = False
    scale.pass_time(5.0)
    assert scale.do()


def test_a_supply_that_comes_on_meanwhile_ends_the_reading() -> None:
    scale = begun(1)
    scale.model.take(scale.now_s)
    scale.stand.plug_in = True
    scale.until(lambda: not scale.model.taking, 10.0)
    assert "hands are at the propeller" in scale.model.said[-1]
    assert scale.model.blocked


def test_a_motor_that_turns_forbids_it() -> None:
    scale = begun(0)
    scale.model._sensed._others["speed"] = 300.0
    assert "The motor turns" in scale.model.blocked


def test_a_stand_that_restarts_in_the_middle_ends_it() -> None:
    scale = begun(1)
    with pytest.raises(StandFault, match="restarted"):
        scale.model.hear(Restarted(1, 2), scale.now_s)


def test_a_channel_that_the_stand_has_not_is_named() -> None:
    model = Calibrating("torque", loading(KNOWN), needs_supply_off=False)
    stand = weighing(KNOWN).session.stand
    assert stand is not None
    with pytest.raises(InputFault, match=r"no channel torque; it has thrust, current"):
        model.hear(Identified(stand), 0.0)


def test_before_anything_was_heard_nothing_is_taken() -> None:
    model = Calibrating("thrust", loading(KNOWN), needs_supply_off=True)
    with pytest.raises(InputFault, match="no reading of thrust yet"):
        model.take(0.0)
    with pytest.raises(InputFault, match="never said who it is"):
        model.finish(KNOWN, UTC)


def test_a_dead_cell_is_told_at_the_end() -> None:
    dead = FrozenSensor(channel="thrust", start_s=0.0)
    scale = weighing(KNOWN, faults=[dead], series=1, hold_s=0.0)
    scale.walk()
    with pytest.raises(InputFault, match="does not move"):
        scale.model.finish(KNOWN, UTC)


# ------------------------------------------------------------ back and on


def test_a_step_is_taken_back_and_done_again() -> None:
    scale = begun(3)
    gone = scale.model.undo()
    assert gone is not None
    assert gone.level == 1
    assert scale.model.step == scale.model.steps[2]
    assert scale.do()
    assert len(scale.model.readings) == 3


def test_a_slip_is_told_at_once() -> None:
    scale = begun(2)
    assert scale.model.doubt(KNOWN) == ""
    scale.force_n = [scale.force_n[0]] * 5  # the 50 g was never set down
    assert scale.do()
    # Nothing says yet whether this one is wrong or the one before.
    told = scale.model.doubt(KNOWN)
    assert "that is 29 % of 70 g. One of the two is not what it should be." in told
    assert scale.do()
    assert "% of 170 g. Look what is on it." in scale.model.doubt(KNOWN)


def test_a_cell_that_does_not_move_is_told_at_the_first_mass() -> None:
    scale = begun(1)
    scale.force_n = [0.0] * 5
    assert scale.do()
    assert "has not moved for 20 g" in scale.model.doubt(KNOWN)


def test_a_reading_is_shown_to_the_digit_that_its_scatter_leaves() -> None:
    gf = 9.80665e-3
    assert resolved("thrust", 168.123 * gf, 0.09 * gf) == "168.12 gf"
    assert resolved("thrust", 168.123 * gf, 0.11 * gf) == "168.12 gf"
    assert resolved("thrust", -0.0008 * gf, 0.09 * gf) == "0.00 gf"
    assert resolved("thrust", 168.123 * gf, 2.0 * gf) == "168 gf"
    assert resolved("voltage", 7.702, 0.002) == "7.702 V"


def test_a_mass_that_was_left_on_is_told_at_once() -> None:
    scale = weighing(KNOWN, series=1, hold_s=0.0)
    for _ in range(10):
        assert scale.do()
        assert scale.model.doubt(KNOWN) == ""
    last = scale.model.step
    assert last is not None
    scale.model.take(scale.now_s)  # 20 g still on
    scale.until(lambda: not scale.model.taking, 30.0)
    assert "does not come back to where it began" in scale.model.doubt(KNOWN)


def test_an_honest_walk_is_never_doubted() -> None:
    scale = weighing(KNOWN, truth=shipped_truth("rough"), series=1, hold_s=0.0)
    while scale.model.step is not None:
        assert scale.do()
        assert scale.model.doubt(KNOWN) == ""


def test_with_nothing_done_there_is_nothing_to_take_back() -> None:
    assert begun(0).model.undo() is None


def test_an_abandoned_calibration_goes_on_from_its_last_whole_series() -> None:
    scale = weighing(KNOWN, series=2, hold_s=0.0)
    for _ in range(14):  # one series is eleven
        scale.do()
    again = Calibrating(
        "thrust", loading(KNOWN, series=2, hold_s=0.0), needs_supply_off=True
    )
    assert again.resume(scale.model.readings, {}) == 11
    assert again.step is not None
    assert again.step.kind == "zero"
    other = Calibrating(
        "thrust", loading(KNOWN, series=2, hold_s=5.0), needs_supply_off=True
    )
    assert other.resume(scale.model.readings, {}) == 0


# ------------------------------------------------------------ meters


def test_voltage_is_held_against_what_is_typed() -> None:
    scale = weighing(KNOWN, plug_in=True)
    steps = metering("voltage", 3)
    model = Calibrating("voltage", steps, needs_supply_off=False)
    scale.model = model
    scale.session.identify(scale.now_s)
    scale.until(lambda: model.hears, 5.0)
    with pytest.raises(InputFault, match="switch the supply off"):
        model.take(scale.now_s)
    scale.stand.plug_in = False
    scale.pass_time(3.0)
    assert scale.do()
    scale.stand.plug_in = True
    scale.pass_time(2.0)
    with pytest.raises(InputFault, match="Type what the meter reads"):
        model.take(scale.now_s)
    with pytest.raises(InputFault, match=r"12\.6 V, and 1255 was typed: is that in V"):
        model.take(scale.now_s, typed=1255.0)
    for charge, typed in ((1.0, 12.55), (0.5, 11.4), (0.2, 11.0)):
        scale.stand.bench._pack.take_charge(
            scale.stand.bench._pack.charge_frac - charge
        )
        scale.pass_time(5.0)
        assert scale.do(typed=round(scale.stand.bench.bus_v, 2)), typed
    model.steps = (*steps, steps[-1])
    with pytest.raises(InputFault, match="was taken already"):
        model.take(scale.now_s, typed=model.typed[0])
    reference = metered(
        meter_from("0.5% + 2 x 0.01"), [model.typed[i] for i in range(3)], "V"
    )
    made = model.finish(reference, UTC)
    true = scale.stand.bench.true_counts_per_unit["voltage"]
    assert 1.0 / made.slope_si == pytest.approx(true, rel=2e-3)


# ------------------------------------------------------------ checks


def test_a_check_is_zero_one_mass_and_zero() -> None:
    alone = masses_of(
        standards_from(
            tomllib.loads(EXAMPLE) | {"order": "one at a time"}, "the example"
        )
    )
    steps = checking(alone, "100 g", "thrust")
    assert [step.kind for step in steps] == ["zero", "load", "zero"]
    assert steps[1].words == "Set down 100 g. Now 100 g."
    assert checking(alone, None, "thrust")[1].level == 4
    with pytest.raises(InputFault, match='no mass "1 kg"'):
        checking(alone, "1 kg", "thrust")
    assert len(checking(None, None, "voltage")) == 3
