"""Where a model is not gentle its interval is drawn, and is right.

Against closed forms and the worked examples of JCGM 101:2008 and JCGM 100:2008 (figures
in ``tests/reference/gum_other_examples.toml``).
"""

import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import integrate, special, stats

from daq.analysis.air import Air, assumed_air
from daq.analysis.findings import finding_of, reading
from daq.analysis.gentle import (
    DRAWS,
    TOLERANCE,
    Drawn,
    bend,
    drawn,
    drawn_interval,
    propagated,
)
from daq.analysis.measured import Measured, Source, averaged, derived, exact, stated
from daq.analysis.motor import _inside, _less_own_draw, _loop
from daq.analysis.propeller import Disc, coefficient_at, thrust_coefficient
from daq.analysis.series import Array
from tests.daq.analysis.test_hover import AIRCRAFT, analysed

EXAMPLES = tomllib.loads(
    (Path(__file__).parents[2] / "reference" / "gum_other_examples.toml").read_text(
        "utf-8"
    )
)
MANY = 200_000
Model = Callable[..., tuple[Array, ...]]


def rng() -> np.random.Generator:
    return np.random.default_rng(7)


def limits(
    model: Callable[..., Array], *inputs: Measured, draws: int = MANY
) -> tuple[float, float]:
    return drawn_interval(model(*drawn(inputs, rng(), draws)))


def estimated(value: float, name: str, u: float, dof: float) -> Measured:
    return Measured(np.array([value]), {name: Source(np.array([[u]]), np.array([dof]))})


# ----------------------------------------------------------------- closed forms


def test_the_square_of_a_normal_about_zero_is_a_chi_square() -> None:
    x = stated(0.0, "x", 2.0)
    low, high = limits(lambda a: a**2, x)
    expected = 4.0 * stats.chi2(1).ppf([0.025, 0.975])
    assert low == pytest.approx(expected[0], rel=0.1)
    assert high == pytest.approx(expected[1], rel=0.02)
    # Its tangent is flat: no interval at all, which is found out.
    assert bend(lambda a: (a**2,), x) == [math.inf]
    (found,) = propagated(lambda a: (a**2,), x, rng=rng())
    assert isinstance(found, Drawn)
    assert found.interval()[1][0] == pytest.approx(expected[1], rel=0.06)
    # Carried on to the value itself, which lies at the edge.
    assert found.interval()[0][0] == 0.0


@pytest.mark.parametrize("mean", [0.5, 2.0, 4.0])
def test_the_square_of_a_normal_near_zero_is_a_noncentral_chi_square(
    mean: float,
) -> None:
    x = stated(mean, "x", 1.0)
    low, high = limits(lambda a: a**2, x)
    expected = stats.ncx2(1, mean**2).ppf([0.025, 0.975])
    assert high == pytest.approx(expected[1], rel=0.01)
    assert low == pytest.approx(expected[0], abs=0.02 * expected[1])
    assert bend(lambda a: (a**2,), x)[0] > TOLERANCE


def test_the_product_of_two_normals_follows_its_bessel_density() -> None:
    # Of two about zero: K_0(|z|) / pi (Wishart and Bartlett 1932, from memory).
    above, _ = integrate.quad(lambda z: special.k0(z) / math.pi, 2.182, math.inf)
    assert above == pytest.approx(0.025, abs=5e-4)
    low, high = limits(lambda a, b: a * b, stated(0.0, "a", 1.0), stated(0.0, "b", 1.0))
    assert high == pytest.approx(2.182, rel=0.02)
    assert low == pytest.approx(-2.182, rel=0.02)
    assert bend(lambda a, b: (a * b,), stated(0.0, "a", 1), stated(0.0, "b", 1)) == [
        math.inf
    ]


def test_one_over_a_normal_has_the_turned_quantiles() -> None:
    x = stated(1.0, "x", 0.1)
    (found,) = propagated(lambda a: (1 / a,), x, rng=rng(), draws=MANY)
    assert isinstance(found, Drawn)
    low, high = (float(limit[0]) for limit in found.interval())
    assert low == pytest.approx(1 / (1 + 0.1 * 1.959964), rel=2e-3)
    assert high == pytest.approx(1 / (1 - 0.1 * 1.959964), rel=2e-3)
    assert found.half_width()[0] == pytest.approx((high - low) / 2)


def test_the_bend_tells_how_far_an_end_is_off() -> None:
    # 1/x: the chosen tolerance is met where the tangent's end is off by as much.
    for u in (0.02, 0.05, 0.1):
        x = stated(1.0, "x", u)
        tangent = 1.0 + 1.959964 * u
        off = (1 / (1 - 1.959964 * u) - tangent) / (1.959964 * u)
        assert bend(lambda a: (1 / a,), x)[0] == pytest.approx(off, rel=0.3)


# ------------------------------------------------------------- worked examples


def test_a_sum_is_gentle_and_its_draws_are_those_of_the_supplement() -> None:
    # JCGM 101 9.2.2: four normals.
    inputs = [stated(0.0, f"x{n}", 1.0) for n in range(4)]

    def total(*x: Array) -> Array:
        return np.asarray(sum(x))

    low, high = limits(total, *inputs)
    expected = EXAMPLES["s1_additive_normal"]["interval95"]
    assert [low, high] == pytest.approx(expected, abs=0.02)
    assert bend(lambda *x: (total(*x),), *inputs)[0] == pytest.approx(0.0, abs=1e-9)


def test_the_weighing_of_the_supplement_is_found_not_gentle() -> None:
    # JCGM 101 9.3: both buoyancy terms vanish at the best estimates, so that the
    # first order misses a third of the interval. With normals of equal spread in the
    # place of rectangles the second order, which knows only spreads, stays.
    told = EXAMPLES["s1_mass_calibration"]

    def model(m: Array, dm: Array, air: Array, weight: Array, mass: Array) -> Any:
        return ((m + dm) * (1 + (air - 1.2) * (1 / weight - 1 / mass)) - 1e5,)

    def between(name: str) -> Measured:
        _, low, high = told[name]
        return stated((low + high) / 2, name, (high - low) / math.sqrt(12))

    inputs = (
        stated(told["m_Rc_mg"][1], "m", told["m_Rc_mg"][2]),
        stated(told["dm_Rc_mg"][1], "dm", told["dm_Rc_mg"][2]),
        *(between(name) for name in ("rho_a", "rho_W", "rho_R")),
    )
    (found,) = propagated(model, *inputs, rng=rng(), draws=MANY)
    _, u, low, high = told["recomputed_first_order"]
    tangent = Measured(found.value, found.sources)
    assert float(tangent.standard_uncertainty()[0]) == pytest.approx(u, rel=1e-4)
    assert float(tangent.interval()[0][0]) == pytest.approx(low, abs=1e-4)
    assert isinstance(found, Drawn)
    answers = model(*drawn(inputs, rng(), MANY))[0]
    spread = told["published_mcm"][1]
    assert float(answers.std()) == pytest.approx(spread, rel=0.01)
    # Of normals the tails are longer than of rectangles, never shorter.
    _, _, low, high = told["published_mcm"]
    assert float(found.low[0]) == pytest.approx(low, abs=0.02)
    assert float(found.high[0]) == pytest.approx(high, abs=0.02)


def test_an_estimate_from_few_readings_is_drawn_as_its_t() -> None:
    # JCGM 100 table G.2: 2.571 for five degrees of freedom, 12.71 for one.
    for dof, factor in ((5.0, 2.571), (1.0, 12.71)):
        low, high = limits(lambda a: a, estimated(0.0, "x", 1.0, dof))
        assert high == pytest.approx(factor, rel=0.02)
        assert low == pytest.approx(-factor, rel=0.02)


def test_the_gauge_of_h1_is_gentle_and_its_draws_are_of_each_components_t() -> None:
    # JCGM 100 H.1: four components, 16.75 effective degrees of freedom.
    told = EXAMPLES["welch_satterthwaite_H1"]
    inputs = [
        estimated(0.0, f"x{n}", u, dof)
        for n, (u, dof) in enumerate(
            zip(told["components_nm"], told["degrees_of_freedom"], strict=True)
        )
    ]

    def total(*x: Array) -> Array:
        return np.asarray(sum(x))

    (found,) = propagated(lambda *x: (total(*x),), *inputs, rng=rng())
    assert not isinstance(found, Drawn)
    u = float(found.standard_uncertainty()[0])
    assert u == pytest.approx(told["uc_nm"], rel=1e-3)
    # What has two degrees of freedom reaches further than Welch-Satterthwaite lets it:
    # against draws of scipy's own t.
    low, high = limits(total, *inputs)
    seed = np.random.default_rng(8)
    parts = [
        component * stats.t(dof).rvs(MANY, random_state=seed)
        for component, dof in zip(
            told["components_nm"], told["degrees_of_freedom"], strict=True
        )
    ]
    expected = np.quantile(sum(parts), (0.025, 0.975))
    assert [low, high] == pytest.approx(expected.tolist(), rel=0.03)
    assert (high - low) / 2 > float(found.half_width()[0])


def test_correlated_inputs_are_drawn_correlated() -> None:
    # JCGM 100 H.2 has correlated means; here by sources that two inputs share.
    shared = np.array([[0.3, 0.4]])
    one = exact(1.0).with_source("both", shared).with_source("a", np.array([[0.2]]))
    other = exact(2.0).with_source("both", -2 * shared)
    draws = np.stack(drawn((one, other), rng(), MANY))
    expected = np.array([[0.25 + 0.04, -0.5], [-0.5, 1.0]])
    assert np.cov(draws) == pytest.approx(expected, rel=0.02)
    # What both share cancels, as along the tangent.
    total = 2 * draws[0] + draws[1]
    assert float(total.std()) == pytest.approx(0.4, rel=0.01)


# ------------------------------------------------------------------- mechanics


def test_figures_are_those_of_the_tangent_where_they_are_gentle() -> None:
    a, b = stated(3.0, "a", 0.02), estimated(5.0, "b", 0.03, 4.0)
    (product, ratio) = propagated(lambda x, y: (x * y, x / y), a, b, rng=rng())
    for found, model in ((product, np.multiply), (ratio, np.divide)):
        expected = derived(model, a, b)
        assert not isinstance(found, Drawn)
        assert found.value == pytest.approx(expected.value, rel=1e-12)
        assert found.half_width() == pytest.approx(expected.half_width(), rel=1e-9)


def test_the_same_seed_gives_the_same_interval_and_another_one_nearly() -> None:
    x = stated(1.0, "x", 0.2)

    def once(seed: int) -> float:
        (found,) = propagated(lambda a: (1 / a,), x, rng=np.random.default_rng(seed))
        return float(found.interval()[1][0])

    assert once(1) == once(1)
    assert once(1) != once(2)
    assert once(1) == pytest.approx(once(2), rel=0.05)


def test_draws_without_an_answer_lie_beyond_either_end() -> None:
    answers = np.linspace(0.0, 1.0, 1001)
    whole = drawn_interval(answers)
    few = np.where(np.arange(1001) < 11, math.nan, answers)
    assert whole == pytest.approx((0.025, 0.975))
    assert drawn_interval(few) == pytest.approx((0.025, 0.986), abs=2e-3)
    many = np.where(np.arange(1001) < 30, math.nan, answers)
    assert drawn_interval(many) == (-math.inf, math.inf)


def test_a_drawn_interval_goes_with_its_value() -> None:
    (found,) = propagated(lambda a: (1 / a,), stated(1.0, "x", 0.2), rng=rng())
    assert isinstance(found, Drawn)
    for kept in (found.take([0]), found.renamed(str.upper), averaged([found])):
        assert kept.interval() == found.interval()
    wider = found.interval(0.99)
    tangent = Measured(found.value, found.sources).interval(0.99)
    assert [float(x[0]) for x in wider] == [float(x[0]) for x in tangent]


# ------------------------------------------------------- what a person meets


def test_a_finding_says_that_its_interval_was_drawn_and_leans() -> None:
    found, _ = analysed()
    (bent,) = propagated(lambda a: (1 / a,), stated(1.0, "x", 0.2), rng=rng())
    told = reading(bent, 0, "min")
    assert told is not None
    said = finding_of(found.evidence, "any", "Any.", told, (), (), ())
    (words,) = said.rests_on
    assert words.startswith(f"a lopsided interval, drawn {DRAWS} times (JCGM 101)")
    assert "min up" in words
    assert said.high is not None
    assert said.low is not None
    assert said.high - 1.0 > 1.5 * (1.0 - said.low)
    assert {part.cause for part in said.budget} == {"x"}
    straight = reading(stated(1.0, "x", 0.2), 0, "min")
    assert straight is not None
    assert not finding_of(found.evidence, "any", "Any.", straight, (), (), ()).rests_on


def test_every_figure_of_hover_and_full_throttle_is_drawn_where_it_bends() -> None:
    # The same aircraft on a pack of which hardly anything is known: current, and
    # with it endurance, bend; the plant's truth is in test_hover.
    from dataclasses import replace

    from daq.analysis.hover import full_throttle, hover

    _, flight = analysed()
    assert flight is not None
    told = hover(flight.train, flight.pack, AIRCRAFT)
    assert told is not None
    assert not isinstance(told.total_a, Drawn)
    vague = np.array([[0.4 * float(flight.pack.whole_ohm.value[0])]])
    pack = replace(
        flight.pack,
        whole_ohm=flight.pack.whole_ohm.with_source("vague", vague),
        quick_ohm=flight.pack.quick_ohm.with_source("vague", vague),
    )
    small = replace(AIRCRAFT, cells=2, motors=6).weighing(240.0)
    bent = hover(flight.train, pack, small)
    assert bent is not None
    assert isinstance(bent.total_a, Drawn)
    low, high = (float(x[0]) for x in bent.total_a.interval())
    assert high - float(bent.total_a.value[0]) > float(bent.total_a.value[0]) - low
    assert bent.endurance_s is not None
    full = full_throttle(flight.train, pack, small)
    assert full is not None
    assert isinstance(full.total_a, Drawn)
    assert isinstance(full.thrust_n, Drawn)


@pytest.mark.parametrize("dropped", [0.1, 0.2, 0.3, 0.4, 0.5])
@pytest.mark.parametrize("cells", [1, 3, 6])
def test_shaft_power_is_gentle_and_what_divides_by_it_is_not(
    cells: int, dropped: float
) -> None:
    # From a tenth to half of the voltage in the winding; 2 to 30 A.
    for amp in (2.0, 5.0, 12.0, 30.0):
        volt_v = 3.6 * cells
        inputs = (
            stated(volt_v, "voltage gain", 0.005 * volt_v),
            stated(2000.0, "speed", 2.0),
            _less_own_draw(stated(amp, "current gain", 0.01 * amp)),
            _loop(dropped * volt_v / amp),
            stated(0.05 * amp, "no-load current", 0.01 * amp),
            stated(volt_v * amp, "power", 0.012 * volt_v * amp),
            stated(0.3 * volt_v * amp, "thrust", 0.01 * volt_v * amp),
            stated(1.2, "air density", 0.006),
            stated(0.076, "diameter", 1e-4),
        )
        _, shaft, efficiency, coefficient, merit = bend(_inside, *inputs)
        assert max(shaft, efficiency, coefficient) < TOLERANCE
        if dropped == 0.5:
            assert merit > TOLERANCE


def test_efficiency_is_gentle_in_air_that_nobody_measured_and_c_t_is_drawn() -> None:
    # 3 % of thrust and power, 8 % of density, 0.5 % of diameter, all at once.
    inputs = (
        stated(3.0, "thrust", 0.09),
        stated(100.0, "power", 3.0),
        stated(1.225, "air density", 0.10),
        stated(0.0762, "diameter", 4e-4),
    )

    def model(
        thrust: Array, power: Array, density: Array, diameter: Array
    ) -> tuple[Array, ...]:
        ideal = thrust**1.5 / np.sqrt(density * math.pi * diameter**2 / 2)
        return ideal / power, thrust / power

    assert max(bend(model, *inputs)) < TOLERANCE
    thrust, speed = stated(3.0, "thrust", 0.09), stated(2000.0, "speed", 5.0)
    unknown = coefficient_at(thrust, speed, Disc(0.0762, 4e-4, assumed_air()), 0)
    known = Disc(0.0762, 1e-4, Air(1.19, 0.006, "read"))
    assert isinstance(unknown, Drawn)
    assert not isinstance(coefficient_at(thrust, speed, known, 0), Drawn)
    straight = thrust_coefficient(thrust, speed, known)
    assert coefficient_at(thrust, speed, known, 0).half_width() == pytest.approx(
        straight.half_width(), rel=1e-3
    )
