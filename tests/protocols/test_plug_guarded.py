"""The plug in a whole spin: what it read at rest is its zero, and what stops it."""

import pytest

from daq.records.wirelog import Kind
from daq.stand.faults.article import LoosePlug
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from protocols.control import Control
from protocols.outcome import Ended
from protocols.rules import Rules
from protocols.task import Task
from tests.campaign.rightly import KINDS
from tests.daq.stand.plant.builder import changed
from tests.protocols.test_control import notes
from tests.spins import LIMITS, NONCE, plan, spin
from tests.virtual import VirtualSpin

STEPS = plan((0.3, 0.75), dwell_s=9.0)
RULES = Rules(plug_heat_w=1.0)
OFF: dict[str, object] = {"plug_sense.zero_error_counts": 9000.0}  # 22 mV
WORN: dict[str, object] = {
    "leads.plug_resistance_ohm": 0.15,
    "plug_sense.counts_per_v": 20_000.0,
}


def spun(changes: dict[str, object]) -> VirtualSpin:
    walked = spin(Task(STEPS, LIMITS, NONCE, RULES), truth=changed(changes, "rough"))
    walked.run()
    return walked


def test_an_amplifiers_own_zero_is_no_heat() -> None:
    walked = spun(OFF)
    outcome = walked.control.outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED, outcome
    assert notes(walked, "mute") == []


@pytest.mark.parametrize("with_zero", [{}, OFF])
def test_a_worn_plug_ends_the_spin_on_its_way_down(
    with_zero: dict[str, object],
) -> None:
    walked = spun(WORN | with_zero)
    outcome = walked.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "plug")
    assert notes(walked, "trip")[0]["action"] == "ramp down"


def test_a_sense_wire_that_is_off_is_said_before_anything_turns() -> None:
    walked = spun({"plug_sense.broken": ["minus"]})
    outcome = walked.control.outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED
    made = [r.json() for r in walked.records if r.kind is Kind.NOTE]
    kinds = [note["note"] for note in made]
    assert {"note": "mute", "channels": ["plug-minus"]} in notes(walked, "mute")
    assert kinds.index("mute") < kinds.index("ready")


def test_a_contact_that_lets_go_is_named_rightly() -> None:
    truth = changed({"plug_sense.counts_per_v": 50_000.0}, "rough")
    fault = LoosePlug(start_s=9.0, growth_ohm_s=0.01, most_ohm=0.06, openings_s=0.0)
    stand = FaultyStand(Plant(truth, 1), [fault], seed=1)
    control = Control(Task(STEPS, LIMITS, NONCE, RULES), "test port")
    outcome = VirtualSpin(control, stand).run().outcome
    assert outcome is not None
    assert outcome.check == "plug"
    assert outcome.check in KINDS["loose-plug"].names
