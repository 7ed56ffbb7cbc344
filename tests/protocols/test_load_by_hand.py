"""A load switched by hand: nothing is armed, limits are watched, words are all."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.analysis.aircraft import Aircraft
from daq.analysis.by_hand import loads_of
from daq.analysis.findings import Finding
from daq.analysis.plug import FittedPlug
from daq.analysis.run import Analysis, analyse
from daq.analysis.series import Series
from daq.errors import InputFault
from daq.link import messages as m
from daq.records.read import read_run
from daq.records.shelf import load_article
from daq.stand.plant.bench import Plant
from protocols.limits import Limit
from protocols.load_by_hand import LoadByHand
from protocols.outcome import Ended
from protocols.plan import Plan, Segment
from protocols.recipe import load_recipe
from protocols.rules import Rules
from protocols.task import Task
from tests.daq.stand.plant.builder import changed
from tests.lined import PLUGGED, spin_on_lines
from tests.protocols.test_control import notes, sent
from tests.runs import write_run
from tests.spins import NONCE, spin
from tests.virtual import VirtualSpin
from ui.articles import example_article
from ui.results import derive
from ui.series import holds_of, series_of

LIMITS = (
    Limit("current", -8.0, 32.0, 3, 0.1, "plug 32 A"),
    Limit("voltage", 8.0, 12.9, 10, 0.1, "3 cells"),
)
COLD: dict[str, object] = {
    "plug.capacity_j_k": 1e6,
    "plug_sense.counts_per_v": 200_000.0,
}
OHMS = (3.0, 1.0, 0.42)
LATE_S = (0.3, 1.2, 0.6, 0.9)


def plan(**changes: object) -> Plan:
    """The shipped one, shorter."""
    recipe = load_recipe("plug-load")
    assert isinstance(recipe, LoadByHand)
    rests = recipe.rest_s.model_copy(
        update={"before": 2.5, "between": 3.0, "after": 3.0}
    )
    usual: dict[str, object] = {
        "loads": 3,
        "up_and_down": False,
        "on_s": 3.0,
        "rest_s": rests,
    }
    return recipe.model_copy(update=usual | changes).plan()


def handed(
    walked: VirtualSpin, ohms: tuple[float, ...] = OHMS, *, leaves_on: bool = False
) -> VirtualSpin:
    """Somebody at the load, each time a little late."""
    task = walked.control.task.plan
    for index, segment in enumerate(task.segments):
        late_s = LATE_S[index % len(LATE_S)]
        ohm = ohms[segment.step] if segment.kind == "load" else math.inf
        if leaves_on and segment.kind == "rest" and index:
            continue
        walked.at_walk(task.start_of(index) + late_s, switched(ohm))
    walked.run()
    return walked


def switched(ohm: float) -> Callable[[VirtualSpin], None]:
    def act(walked: VirtualSpin) -> None:
        hardware = getattr(walked.device, "hardware", walked.device)
        plant = getattr(hardware, "bench", None) or hardware.plant
        assert isinstance(plant, Plant)
        plant.bank_ohm = ohm

    return act


def spun(
    limits: tuple[Limit, ...] = LIMITS,
    rules: Rules | None = None,
    walked: Plan | None = None,
    **changes: object,
) -> VirtualSpin:
    task = Task(walked or plan(), limits, NONCE, rules or Rules())
    return spin(task, truth=changed(COLD | changes, "rough"), seed=2)


def analysed(
    walked: VirtualSpin, folder: Path, full_a: float | None = None
) -> Analysis:
    flown = Aircraft(4, None, 0.6, 1620.0, 3, full_a=full_a)
    run = read_run(write_run(walked, folder))
    series, nominal = series_of(run)
    return analyse(
        series,
        holds_of(run, series),
        nominal=nominal,
        by_hand=True,
        fitted_plug=FittedPlug("small plug", rated_a=12.0),
        aircraft=flown,
    )


def told(read: Analysis) -> dict[str, Finding]:
    return {finding.id: finding for finding in read.findings}


def test_nothing_is_armed_and_nothing_is_proven() -> None:
    walked = handed(spun(walked=plan(loads=1)), (3.0,))
    outcome = walked.control.outcome
    assert outcome is not None
    assert (outcome.ended, str(outcome.data)) == (Ended.COMPLETED, "whole")
    forbidden = (m.Arm, m.Throttle, m.Prove, m.Stop)
    assert not [c for c in sent(walked) if isinstance(c, forbidden)]
    assert not notes(walked, "armed")
    assert len(notes(walked, "segment")) == len(walked.control.task.plan.segments)
    assert notes(walked, "began")
    assert walked.asked == []


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return analysed(handed(spun()), tmp_path_factory.mktemp("run"), 20.0)


def test_its_resistance_is_that_of_the_plant_at_the_aircrafts_current(
    by_hand: Analysis,
) -> None:
    read = by_hand
    found = told(read)
    resistance = found["plug-resistance"]
    # Contacts and lead between the sense wires.
    assert resistance.low is not None
    assert resistance.high is not None
    assert resistance.low < 6.25 < resistance.high
    assert resistance.high - resistance.low < 0.4
    plug = read.evidence.plug
    assert plug is not None
    assert plug.highest_a > 20.0
    assert "and carried" in found["plug-drop"].sentence
    assert found["pack-resistance"].low is not None
    assert not [name for name in found if "thrust" in name or "hover" in name]


def test_what_was_reached_is_not_extrapolated(by_hand: Analysis) -> None:
    plug = by_hand.evidence.plug
    assert plug is not None
    assert plug.highest_a > 20.0
    found = told(by_hand)["plug-in-flight"]
    assert found.value == pytest.approx(20.0 * 6.2, rel=0.03)
    assert not [words for words in found.cautions if "extrapolated" in words]


@pytest.mark.slow
def test_what_was_not_reached_is(tmp_path: Path) -> None:
    gentle = handed(spun(), (3.0, 2.0, 1.2))
    found = told(analysed(gentle, tmp_path, 20.0))["plug-in-flight"]
    assert "extrapolated: no more than" in found.cautions[0]


def test_the_pack_is_that_of_the_plant(by_hand: Analysis) -> None:
    found = told(by_hand)["pack-resistance"]
    # Its own 66 milliohm and 12 of leads, and what of the slow 30 acts in seconds.
    assert found.low is not None
    assert found.high is not None
    assert found.low < 78.0 + 10.0
    assert found.high > 78.0


@pytest.mark.slow
def test_a_hand_that_is_late_or_leaves_it_on_changes_no_figure(tmp_path: Path) -> None:
    found = told(analysed(handed(spun(), leaves_on=True), tmp_path))
    resistance = found["plug-resistance"]
    assert resistance.low is not None
    assert resistance.high is not None
    assert resistance.low < 6.25 < resistance.high


def test_one_load_only_is_said(tmp_path: Path) -> None:
    begun = spun(walked=plan(loads=1))
    found = told(analysed(handed(begun, (0.7,)), tmp_path))
    assert "one current only" in found["plug-doubt"].sentence


def test_too_much_current_is_said_out_loud_since_nothing_can_stop_it() -> None:
    tight = (Limit("current", -8.0, 10.0, 3, 0.1, "plug 10 A"), LIMITS[1])
    walked = handed(spun(tight), (1.0, 1.0, 1.0))
    outcome = walked.control.outcome
    assert outcome is not None
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "limit")
    assert outcome.advice.startswith("Switch the load off: nothing here can.")
    (trip,) = notes(walked, "trip")
    assert trip["by_hand"] is True
    assert not [c for c in sent(walked) if isinstance(c, m.Stop)]


def test_a_hot_plug_is_said_too() -> None:
    walked = handed(spun(rules=Rules(plug_heat_w=0.2)))
    outcome = walked.control.outcome
    assert outcome is not None
    assert outcome.check == "plug"


def test_a_person_ends_it_without_a_latch_on_the_stand() -> None:
    begun = spun()
    begun.at_walk(3.0, lambda walked: walked.order(order="stop", why="Enough."))
    outcome = begun.run().outcome
    assert outcome is not None
    assert outcome.ended is Ended.STOPPED
    assert outcome.stop_confirmed
    assert not [c for c in sent(begun) if isinstance(c, m.Stop)]


@pytest.mark.slow
def test_a_stand_that_prints_lines_may_be_loaded_as_well(tmp_path: Path) -> None:
    begun = spin_on_lines(
        PLUGGED, walked=plan(), limits=LIMITS, truth=changed(COLD, "rough")
    )
    walked = handed(begun)
    outcome = walked.control.outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED, outcome
    found = told(analysed(walked, tmp_path))["plug-resistance"]
    assert found.low is not None
    assert found.high is not None
    assert found.low < 6.25 < found.high


@pytest.mark.parametrize(
    ("into_s", "most_a", "ended"),
    [
        pytest.param(1.0, 32.0, "stopped", id="stopped before anything"),
        pytest.param(
            11.0, 32.0, "stopped", id="stopped under a load", marks=pytest.mark.slow
        ),
        pytest.param(
            60.0, 10.0, "tripped", id="too much current", marks=pytest.mark.slow
        ),
    ],
)
def test_one_that_was_cut_has_a_page_all_the_same(
    into_s: float, most_a: float, ended: str, tmp_path: Path
) -> None:
    begun = spun((replace(LIMITS[0], high=most_a), LIMITS[1]))
    begun.at_walk(into_s, lambda walked: walked.order(order="stop", why="Enough."))
    walked = handed(begun)
    results = derive(
        write_run(walked, tmp_path, article=load_article(example_article()).to_dict())
    )
    assert results.outcome["ended"] == ended
    assert results.sentences()
    assert "Loads switched by hand" in results.report.read_text("utf-8")


@pytest.mark.parametrize(
    ("segments", "by_hand", "words"),
    [
        ((Segment("load", "up", 0, 0.0, 0.0, 5.0),), False, "by hand only"),
        ((Segment("rest", "rest", -1, 0.0, 0.0, 5.0),), True, "by hand only"),
    ],
)
def test_a_plan_is_by_hand_or_it_is_not(
    segments: tuple[Segment, ...], by_hand: bool, words: str
) -> None:
    with pytest.raises(InputFault, match=words):
        Plan("x", "x", segments, by_hand=by_hand)


def test_a_plan_by_hand_turns_no_motor() -> None:
    load = Segment("load", "up", 0, 0.0, 0.0, 5.0)
    up = Segment("ramp", "up", 1, 0.0, 0.1, 1.0)
    down = Segment("ramp", "rest", -1, 0.1, 0.0, 1.0)
    with pytest.raises(InputFault, match="must turn no motor"):
        Plan("x", "x", (load, up, down), by_hand=True)
    with pytest.raises(InputFault, match="throttle of zero"):
        Segment("load", "up", 0, 0.3, 0.3, 5.0)


def test_it_survives_its_trip_through_json() -> None:
    assert Plan.from_dict(plan().to_dict()) == plan()


def test_pieces_are_found_by_the_current_alone() -> None:
    t_s = np.arange(0.0, 40.0, 0.01)
    amp = np.zeros(t_s.size)
    for begin_s, end_s, on_a in ((5, 9, 5.0), (14, 18, 10.0), (22, 36, 10.1)):
        amp[(t_s >= begin_s) & (t_s < end_s)] = on_a
    noise = np.random.default_rng(3).normal(0.0, 0.02, t_s.size)
    series = Series("current", "current", t_s, 0.035 + amp + noise, 0.01, 0.001)
    holds = loads_of(series, 0.0, 40.0)
    kinds = [(hold.kind, hold.step) for hold in holds]
    rest = ("rest", -1)
    assert kinds == [rest, ("dwell", 0), rest, ("dwell", 1), rest, ("soak", 1), rest]
    assert holds[1].start_s == pytest.approx(5.1, abs=0.06)
    assert holds[1].end_s == pytest.approx(8.9, abs=0.06)
