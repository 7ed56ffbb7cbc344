"""Fast captures of a plan: asked for in their turn, in time, or said to be left out."""

import json
from collections.abc import Mapping
from dataclasses import replace

import pytest

from daq.errors import InputFault
from daq.link import messages as m
from daq.records.wirelog import Kind
from daq.stand import device as devices
from protocols.captures import CaptureAsk
from protocols.outcome import Ended
from protocols.plan import Plan
from protocols.recipe import expand, load_recipe
from tests.protocols.test_replay import record_of, replayed
from tests.spins import plan, spin, task
from tests.virtual import VirtualSpin

# Segments of the short plan: rest, then ramp, settle and dwell of two levels.
DWELL, NEXT_RAMP = 3, 4


def ask(**changes: object) -> CaptureAsk:
    """A short one, at once, of the first level."""
    usual = CaptureAsk(DWELL, "level", "voltage", samples=40, period_s=1e-3)
    return replace(usual, **changes)  # type: ignore[arg-type]


def walked(*asks: CaptureAsk) -> VirtualSpin:
    """The short plan with these captures, spun."""
    run = spin(task(walked=replace(plan(), captures=asks)))
    run.run()
    return run


def notes(run: VirtualSpin, kind: str) -> list[Mapping[str, object]]:
    read = [json.loads(r.data) for r in run.records if r.kind is Kind.NOTE]
    return [note for note in read if note["note"] == kind]


def results(run: VirtualSpin) -> list[object]:
    return [note["result"] for note in notes(run, "captured")]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"label": ""}, "names no segment"),
        ({"segment": -1}, "names no segment"),
        ({"channel": "thrust"}, "is of 'thrust'; take voltage or current"),
        ({"samples": 1}, "has 1 samples"),
        ({"before": 40}, "takes 40 of its 40 samples"),
        ({"period_s": 0.0}, "a sample every 0.0 s"),
        ({"period_s": 0.1}, "all of them within 2 s"),
        ({"period_s": float("nan")}, "a sample every nan s"),
        ({"patience_s": 6.0}, "waits for 6.0 s"),
        ({"by_si": 0.1}, "at once needs none"),
        ({"trigger": "fall"}, "needs a figure above zero"),
        ({"trigger": "rise", "by_si": float("inf")}, "needs a figure above zero"),
    ],
)
def test_what_cannot_be_captured_is_refused(
    changes: dict[str, object], says: str
) -> None:
    with pytest.raises(InputFault, match=says):
        ask(**changes)


def test_a_plan_with_captures_reads_back_as_it_was() -> None:
    made = replace(plan(), captures=(ask(), ask(trigger="fall", by_si=0.1, before=4)))
    again = Plan.from_dict(json.loads(json.dumps(made.to_dict())))
    assert again == made
    assert "captures" not in plan().to_dict()  # so that older plans read the same


def test_a_capture_of_no_segment_is_refused() -> None:
    with pytest.raises(InputFault, match=r"of segment 100 of the plan, which has 9"):
        replace(plan(), captures=(ask(segment=99),))


def test_captures_come_one_after_the_other_each_whole() -> None:
    run = walked(ask(), ask(channel="current"))
    assert results(run) == ["whole", "whole"]
    first, second = notes(run, "capture")
    assert first["label"] == "level"
    over = notes(run, "captured")[0]
    assert over["number"] == first["number"] == 1
    assert second["number"] == 2
    assert run.control.outcome is not None
    assert run.control.outcome.ended is Ended.COMPLETED


def test_what_would_come_too_late_is_left_out_and_said() -> None:
    long = ask(samples=900)  # 0.9 s, and the level lasts 0.8 s
    run = walked(long, ask(label="too late"))
    assert results(run) == ["left out: the too late was over before its turn", "whole"]
    assert len(notes(run, "capture")) == 1


def test_a_trigger_that_never_comes_costs_the_capture_alone() -> None:
    run = walked(ask(trigger="rise", by_si=1.0, patience_s=0.3), ask())
    assert results(run) == ["no trigger", "whole"]
    assert run.control.outcome is not None
    assert run.control.outcome.ended is Ended.COMPLETED


def test_a_fall_counts_from_what_was_read_just_before() -> None:
    falling = ask(segment=NEXT_RAMP, trigger="fall", by_si=0.1, before=10)
    run = walked(falling)
    assert results(run) == ["whole"]
    page = run.control.session.stand
    assert page is not None
    channel = page.channel("voltage")
    assert channel is not None
    level_v = channel.to_si(int(str(notes(run, "capture")[0]["level_counts"])))
    # The pack gives 12.6 V at rest and a little less at the first level.
    assert 12.3 < level_v < 12.55


def test_a_level_that_the_channel_never_tells_is_left_out() -> None:
    run = walked(ask(trigger="rise", by_si=99.0))
    assert results(run) == ["left out: its trigger is beyond what the channel tells"]


def test_a_stand_without_captures_is_told_so_before_anything_turns(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bare = devices.ABILITIES & ~m.Ability.CAPTURE
    monkeypatch.setattr(devices, "ABILITIES", bare)
    run = walked(ask())
    outcome = run.control.outcome
    assert outcome is not None
    assert outcome.ended is Ended.FAILED
    assert "has no fast capture, and the plan asks for some" in outcome.cause
    assert run.armed_ns is None


def test_a_stop_asks_for_nothing_more() -> None:
    run = spin(task(walked=replace(plan(), captures=(ask(samples=400), ask()))))
    run.at_walk(3.2, lambda spun: spun.order(order="stop"))
    run.run()
    assert len(notes(run, "capture")) == 1
    assert notes(run, "stop")


def test_the_record_replays_byte_for_byte() -> None:
    falling = ask(segment=NEXT_RAMP, trigger="fall", by_si=0.1, before=10)
    records = record_of(walked(ask(), falling))
    assert replayed(records) == records


def test_the_catalogues_captures_are_of_the_moments_that_they_name() -> None:
    made = expand(load_recipe("supply-noise"))
    kinds = {
        ask.label: (made.segments[ask.segment].kind, made.segments[ask.segment].leg)
        for ask in made.captures
    }
    assert kinds == {
        "cruise": ("dwell", "up"),
        "punch": ("punch", "up"),
        "burst": ("burst", "up"),
        "drop": ("punch", "down"),
        "chop": ("punch", "rest"),
    }
    # Each moment comes as often as the punch is repeated.
    labels = [ask.label for ask in made.captures]
    assert labels.count("punch") == 3
    assert labels.count("cruise") == 6
