"""A pack that was emptied, from the spin to the findings, the page and a comparison.

Truth is the plant's own sum of what flowed; a small pack, so that it takes a minute.
"""

from pathlib import Path

import pytest

from daq import units
from daq.analysis.findings import Finding
from daq.errors import InputFault
from daq.stand.plant.bench import Plant
from daq.stand.plant.drawn import one_of
from daq.stand.plant.truth import Truth
from tests.protocols.articles import article
from tests.protocols.test_held_spins import held_spin, small
from tests.runs import write_run
from tests.ui.report.reading import read
from tests.virtual import VirtualSpin
from ui.compared import chosen_words
from ui.comparing import compare_folders
from ui.live import LiveRun
from ui.report.page import render
from ui.results import Results, derive
from ui.stretches import stretches_of

pytestmark = pytest.mark.slow  # a pack takes seconds to empty, in any time

RESTS = {"before": 4.0, "after": 12.0}
ZERO_S, SPAN_S = 1e-3, 1e-3
# A quarter charged, so that it takes a minute and falls off no faster than packs do.
QUARTER = small(300.0, charge_frac=0.25)


class Emptied:
    """A spin that was run, and its results."""

    def __init__(self, run: VirtualSpin, folder: Path, name: str = "quad") -> None:
        self.run = run
        run.run(3600.0)
        plan = run.control.task.plan
        capacity_mah = run.device.bench.truth.pack.capacity_c / 3.6  # type: ignore[attr-defined]
        quad = article(
            name=name, pack__name=name, pack__capacity_mah=max(20.0, capacity_mah)
        )
        self.goal = plan.goals[0]
        self.results: Results = derive(write_run(run, folder, article=quad.to_dict()))

    def finding(self, name: str) -> Finding:
        assert self.results.analysis is not None
        return next(f for f in self.results.analysis.findings if f.id == name)

    @property
    def ids(self) -> list[str]:
        assert self.results.analysis is not None
        return [f.id for f in self.results.analysis.findings]

    def true_charge_mah(self) -> float:
        """All that left the pack, what the controller draws asleep included."""
        return self.run.device.bench.integrals.bus_charge_c / 3.6  # type: ignore[attr-defined, no-any-return]

    def true_energy_wh(self) -> float:
        return self.run.device.bench.integrals.bus_energy_j / 3600  # type: ignore[attr-defined, no-any-return]


def true_milliohm(truth: Truth) -> float:
    """Pack, its slow part, leads and plug."""
    pack, leads = truth.pack, truth.leads
    return 1e3 * (
        pack.resistance_ohm
        + pack.slow_resistance_ohm
        + leads.resistance_ohm
        + leads.plug_resistance_ohm
    )


def flown_s(truth: Truth, thrust_n: float, floor_v: float) -> float:
    """How long four motors and 0.6 A of electronics hover on it, by the plant.

    A flight takes minutes, so the slow part of the pack has settled.
    """
    pack = truth.pack
    settled = pack.model_copy(
        update={
            "resistance_ohm": pack.resistance_ohm + pack.slow_resistance_ohm,
            "slow_resistance_ohm": 0.0,
        }
    )
    plant = Plant(one_of(truth.model_copy(update={"pack": settled}), 4, 0.6), 1)
    throttle_frac, ticks = 0.3, 0
    while ticks < 40 or plant.bus_v > floor_v:
        plant.advance(0.05, ZERO_S + SPAN_S * throttle_frac)
        throttle_frac += 0.02 * (thrust_n - plant.state.thrust_n)
        ticks += 1
    return ticks * 0.05


@pytest.fixture(scope="module")
def emptied(tmp_path_factory: pytest.TempPathFactory) -> Emptied:
    run = held_spin(QUARTER, rest_s=RESTS, start_percent=30)
    return Emptied(run, tmp_path_factory.mktemp("emptied"))


@pytest.fixture(scope="module")
def stopped(tmp_path_factory: pytest.TempPathFactory) -> Emptied:
    run = held_spin(QUARTER, rest_s=RESTS, start_percent=30)
    run.at_walk(30.0, lambda run: run.order(order="stop"))
    return Emptied(run, tmp_path_factory.mktemp("stopped"))


def test_charge_and_energy_to_the_floor_hold_what_left_the_pack(
    emptied: Emptied,
) -> None:
    charge, energy = emptied.finding("usable-charge"), emptied.finding("usable-energy")
    assert charge.low is not None
    assert charge.high is not None
    assert charge.low < emptied.true_charge_mah() < charge.high
    assert energy.low is not None
    assert energy.high is not None
    assert energy.low < emptied.true_energy_wh() < energy.high
    assert "Down to its floor the pack, begun about" in charge.sentence
    assert any("by voltage only" in caution for caution in charge.cautions)


def test_time_and_thrust_on_the_stand_are_told_and_are_not_the_aircrafts(
    emptied: Emptied,
) -> None:
    told = emptied.finding("endurance-measured")
    assert told.value == pytest.approx(1.15, abs=0.15)
    assert "asked: 45.0 gf" in told.sentence
    assert "down to 10.0" in told.sentence
    assert any("not the aircraft's" in caution for caution in told.cautions)


def test_the_resistance_is_all_between_the_pack_and_the_bus(emptied: Emptied) -> None:
    told = emptied.finding("pack-resistance-at-end")
    assert told.low is not None
    assert told.high is not None
    assert told.low < true_milliohm(QUARTER) < told.high
    assert "slowly" in told.sentence


def test_the_aircrafts_minutes_hold_what_the_plant_flies(emptied: Emptied) -> None:
    told = emptied.finding("endurance-in-air")
    true_min = flown_s(QUARTER, emptied.goal.thrust_n, emptied.goal.floor_v) / 60
    assert told.low is not None
    assert told.high is not None
    assert told.low < true_min < told.high
    assert any(caution.startswith("extrapolated") for caution in told.cautions)
    assert "printed charge" in told.sentence


def test_the_run_has_no_other_figures_of_its_own(emptied: Emptied) -> None:
    assert "no-dwell" not in emptied.ids
    assert emptied.results.analysis is not None
    assert not len(emptied.results.analysis.plateaus)


def test_the_walk_back_knows_the_throttle_all_along(emptied: Emptied) -> None:
    hold, down = stretches_of(emptied.results.run)[2:4]
    assert hold.hold.kind == "hold"
    assert hold.from_frac == pytest.approx(0.3)
    assert hold.to_frac == down.from_frac
    assert 0.3 < hold.to_frac < 0.45
    middle_s = (hold.hold.start_s + hold.hold.end_s) / 2
    assert hold.from_frac < hold.throttle_at(middle_s) < hold.to_frac
    assert down.to_frac == 0.0


def test_while_it_goes_nobody_says_how_long(emptied: Emptied) -> None:
    live = LiveRun(emptied.run.control.task.plan)
    said: list[str] = []
    for record in emptied.run.records:
        live.take(record)
        if live.holding is not None:
            said.append(live.left_words())
            assert live.open_ended
            assert 0.29 < live.throttle_frac < 0.45
    assert said[0] == "until 10.05 V or 40.0 min"
    assert not live.open_ended
    assert live.whole_s < 100.0
    assert live.walked_s == pytest.approx(live.whole_s, abs=1.0)
    assert len(live.walk) > 50


def test_the_page_draws_the_discharge_and_the_hold(emptied: Emptied) -> None:
    page = read(render(emptied.results))
    text = page.text()
    assert "Voltage under load against charge drawn" in text
    assert "solved by its resistance, not measured" in text
    assert "Hover, by the emptied pack" in text


def test_a_run_that_was_stopped_says_a_lower_bound_and_no_endurance(
    stopped: Emptied,
) -> None:
    told = stopped.finding("endurance-measured")
    assert "was not empty then: the run was cut short" in told.sentence
    assert any("lower bound" in caution for caution in told.cautions)
    charge = stopped.finding("usable-charge")
    assert "had given at least" in charge.sentence
    assert "endurance-in-air" not in stopped.ids
    assert "pack-resistance-at-end" not in stopped.ids


def test_a_comparison_of_one_that_was_not_emptied_has_nothing_to_say(
    emptied: Emptied, stopped: Emptied
) -> None:
    folders = [emptied.results.run.folder, stopped.results.run.folder]
    compared = compare_folders(folders)
    told = [one for one in compared.chosen if "emptied" in one.question]
    assert all(one.choice is None for one in told)


def test_of_two_packs_the_larger_gives_most(emptied: Emptied, tmp_path: Path) -> None:
    run = held_spin(small(80.0, charge_frac=0.5), rest_s=RESTS, start_percent=30)
    other = Emptied(run, tmp_path, "small pack")
    compared = compare_folders([emptied.results.run.folder, other.results.run.folder])
    (charge,) = (x for x in compared.chosen if "most charge" in x.question)
    assert charge.choice is not None
    assert charge.candidates[charge.choice.best].article == "quad"
    assert "charged and emptied again, so it cannot be told" in chosen_words(charge)


def test_nothing_to_compare_is_still_refused(stopped: Emptied, tmp_path: Path) -> None:
    run = held_spin(QUARTER, rest_s=RESTS, start_percent=30)
    run.at_walk(20.0, lambda run: run.order(order="stop"))
    other = Emptied(run, tmp_path, "another")
    with pytest.raises(InputFault):
        compare_folders([stopped.results.run.folder, other.results.run.folder])


@pytest.mark.parametrize(
    ("seed", "pack"),
    [
        (1, {"capacity_c": 300.0}),
        (2, {"capacity_c": 400.0, "resistance_ohm": 0.15}),
        (3, {"capacity_c": 300.0, "slow_resistance_ohm": 0.08, "slow_time_s": 20.0}),
        (4, {"capacity_c": 400.0, "charge_frac": 0.8}),
    ],
)
def test_the_truth_of_many_packs_is_held(
    seed: int, pack: dict[str, float], tmp_path: Path
) -> None:
    truth = small(**pack)
    found = Emptied(
        held_spin(truth, seed, rest_s={"before": 5.0, "after": 25.0}), tmp_path
    )
    charge, energy = found.finding("usable-charge"), found.finding("usable-energy")
    air = found.finding("endurance-in-air")
    true_min = flown_s(truth, found.goal.thrust_n, found.goal.floor_v) / 60
    for told, true in (
        (found.finding("pack-resistance-at-end"), true_milliohm(truth)),
        (charge, found.true_charge_mah()),
        (energy, found.true_energy_wh()),
        (air, true_min),
    ):
        assert told.low is not None
        assert told.high is not None
        assert told.low < true < told.high
    thrust_n = found.results.analysis.evidence.emptied.thrust_n  # type: ignore[union-attr]
    assert thrust_n.value[0] == pytest.approx(found.goal.thrust_n, rel=0.06)
    assert units.n_to_gf(found.goal.thrust_n) == pytest.approx(45.0)
