"""What is said of a pack before the motor turns."""

from daq.records.shelf import load_article
from ui.articles import example_article
from ui.cautions import checklist_for, cue_of, start_of
from ui.ordered import Order, order_for


def order(protocol: str = "plug-steps") -> Order:
    return order_for(protocol, load_article(example_article()), 1000.0)


def test_a_full_pack_needs_no_word() -> None:
    assert order().charge_caution(12.6) == ""
    assert order().charge_caution(9.3) == ""  # which ends it anyway


def test_a_pack_that_will_not_last_the_plan_is_said() -> None:
    said = order().charge_caution(10.4)
    assert "10.4 V at rest, 3.47 V a cell" in said
    assert "below its floor of 9.9 V" in said
    assert "Charge it first." in said


def test_a_load_by_hand_is_held_to_plug_and_pack_alone() -> None:
    made = order("plug-load")
    limits = {limit.channel: limit for limit in made.task.limits}
    assert set(limits) == {"current", "voltage"}
    assert limits["current"].high == 12.0  # the plug; the motor carries none of it
    assert "motor" not in limits["current"].source
    assert made.charge_caution(10.0) == ""
    names = [item.name for item in checklist_for(made.task)]
    assert "load" in names
    assert "screwed" not in names
    assert "nothing else can switch it off" in start_of(made.task)


def test_a_hand_is_told_what_to_switch() -> None:
    loads = [s for s in order("plug-load").plan.segments if s.kind == "load"]
    assert cue_of(loads[0], 4) == (
        "SWITCH THE LOAD ON: load 1 of 4, the smallest, for 5 s."
    )
    assert cue_of(loads[3], 4).startswith(
        "SWITCH THE LOAD ON: load 4 of 4, the largest"
    )
    rest = order("plug-load").plan.segments[2]
    assert cue_of(rest, 4) == "LOAD OFF for 6 s."


def test_what_a_gentler_plan_takes_is_less() -> None:
    assert order("idle-spin").charge_caution(10.4) == ""
