"""Hover and full throttle against the plant flown as one of several motors.

The stand's run is a virtual spin with scale factors that are right, so that what is
left is the method: one motor on the stand, four in the air.
"""

import math
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from daq.analysis.aircraft import Aircraft, Rating
from daq.analysis.hover import Flight, Hover, hover
from daq.analysis.measured import Measured, derived, exact
from daq.analysis.run import Analysis, analyse
from daq.records.read import read_run
from daq.stand.plant.drawn import one_of
from daq.stand.plant.truth import Truth, shipped_truth
from daq.units import gf_to_n
from tests import flown
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.series import holds_of, series_of

MOTORS, WEIGHT_G, ELECTRONICS_A = 4, 180.0, 0.6
AIRCRAFT = Aircraft(MOTORS, gf_to_n(WEIGHT_G), ELECTRONICS_A, 1620.0, 3)
LEVELS = (0.2, 0.3, 0.4, 0.55, 0.7, 0.85, 1.0)


def exact_truth() -> Truth:
    """The shipped stand with gains that are what it says."""
    truth = shipped_truth()
    sensors = {
        name: getattr(truth, name).model_copy(
            update={"gain_u": None, "gain_error": 0.0, "gain_tolerance_rel": 1e-4}
        )
        for name in ("load_cell", "current_sensor", "voltage_sensor")
    }
    return truth.model_copy(update=sensors)


@cache
def analysed(levels: tuple[float, ...] = LEVELS) -> tuple[Analysis, Flight | None]:
    """A staircase on the stand, analysed with and without its aircraft."""
    walked = spin(task(walked=plan(levels, dwell_s=1.5)), truth=exact_truth())
    walked.run()
    with TemporaryDirectory() as folder:
        run = read_run(write_run(walked, Path(folder)))
    series, _ = series_of(run)
    found = analyse(series, holds_of(run, series), aircraft=AIRCRAFT)
    return found, found.evidence.flight


def holds(measured: Measured | None, truth: float, within: float) -> None:
    """The interval holds the truth, and is not wider than that share of it."""
    assert measured is not None
    low, high = measured.interval()
    assert low[0] <= truth <= high[0]
    assert high[0] - low[0] <= 2 * within * truth


def test_full_throttle_of_four_motors_is_that_of_the_plant_flown() -> None:
    _, flight = analysed()
    assert flight is not None
    assert flight.full is not None
    truth = flown.punched(one_of(exact_truth(), MOTORS, ELECTRONICS_A))
    # How throttle and duty go together is known no better than that.
    holds(flight.full.thrust_n, MOTORS * truth.thrust_n, 0.12)
    holds(flight.full.total_a, MOTORS * truth.bus_a, 0.18)
    holds(flight.full.bus_v, truth.bus_v, 0.07)
    holds(flight.full.to_weight, MOTORS * truth.thrust_n / gf_to_n(WEIGHT_G), 0.12)
    assert flight.full.extrapolated  # 34 A from a pack that was seen to give 10


def test_hover_and_endurance_are_those_of_the_plant_flown() -> None:
    _, flight = analysed()
    assert flight is not None
    assert flight.hover is not None
    truth = one_of(exact_truth(), MOTORS, ELECTRONICS_A)
    each_n = gf_to_n(WEIGHT_G) / MOTORS
    seconds, throttle, amps = flown.hovered(truth, each_n, left_frac=0.2)
    holds(flight.hover.endurance_s, seconds, 0.2)
    holds(flight.hover.throttle_frac, throttle, 0.08)
    holds(flight.hover.total_a, MOTORS * amps, 0.1)
    assert not flight.hover.extrapolated


def test_a_gram_more_costs_what_a_heavier_aircraft_shows() -> None:
    light = _hover(AIRCRAFT)
    heavier = AIRCRAFT.weighing(WEIGHT_G + 10)
    assert light.gram_s is not None
    assert light.endurance_s is not None
    heavy = _hover(heavier).endurance_s
    assert heavy is not None
    ten_s = float(light.endurance_s.value[0] - heavy.value[0])
    assert ten_s == pytest.approx(10 * float(light.gram_s.value[0]), rel=0.1)


def _hover(aircraft: Aircraft) -> Hover:
    _, flight = analysed()
    assert flight is not None
    solved = hover(flight.train, flight.pack, aircraft)
    assert solved is not None
    return solved


def test_a_hover_outside_of_what_was_measured_is_no_figure_but_is_said() -> None:
    low = (0.5, 0.65, 0.8, 0.9, 1.0)
    found, flight = analysed(low)
    assert flight is not None
    assert flight.hover is None
    said = [f.sentence for f in found.findings if f.id == "no-hover"]
    assert len(said) == 1
    assert "45 gf a motor" in said[0]


def test_a_current_is_held_against_each_rating() -> None:
    from daq.analysis.findings import Reading
    from daq.analysis.flight import _against

    plug = Rating("plug", 12.0, each=False)
    assert _against(plug, Reading(34.0, 33.0, 35.0, "A")) == (
        "that is beyond the plug's 12 A (2.8 times)"
    )
    assert _against(plug, Reading(11.0, 10.0, 11.9, "A")) == "within the plug's 12 A"
    assert "cannot be told" in _against(plug, Reading(11.8, 11.0, 12.6, "A"))


def test_a_curve_asked_at_a_point_says_what_its_band_says() -> None:
    found, _ = analysed()
    for curve in found.curves:
        x = np.linspace(curve.x.min(), curve.x.max(), 7)
        asked = curve.at(x)
        gradient = curve.fit.model.gradient(x, curve.coefficients)
        fitted = np.einsum("ij,jk,ik->i", gradient, curve.covariance, gradient)
        shape = asked.sources[f"shape of {curve.name}"].variance()
        assert asked.value == pytest.approx(curve.band(x)[0])
        assert asked.variance() == pytest.approx(fitted + shape, rel=1e-3)
        assert np.all(shape >= 0.999 * curve.fit.misfit_at(asked.value) ** 2)


def test_what_two_curves_share_cancels_in_their_ratio() -> None:
    found, _ = analysed()
    by_name = {curve.name: curve for curve in found.curves}
    at = np.array([0.6])
    amps = by_name["current against throttle"].at(at)
    watt = by_name["power against throttle"].at(at)
    gain = "current gain"
    ratio = derived(lambda w, a: w / a, watt, amps)
    left = math.sqrt(float(ratio.sources[gain].variance()[0])) / float(ratio.value[0])
    alone = math.sqrt(float(watt.sources[gain].variance()[0])) / float(watt.value[0])
    assert alone == pytest.approx(1e-4, rel=0.1)
    assert left < 0.05 * alone


def test_derived_follows_the_gum_for_a_product() -> None:
    # JCGM 100:2008 5.1.6: for a product relative variances add.
    one = exact(3.0).with_source("a", np.array([[0.03]]))
    two = exact(5.0).with_source("b", np.array([[0.10]]))
    product = derived(lambda a, b: a * b, one, two)
    assert float(product.value[0]) == pytest.approx(15.0)
    expected = 15.0 * math.hypot(0.01, 0.02)
    assert float(product.standard_uncertainty()[0]) == pytest.approx(expected, rel=1e-6)
