import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from daq.errors import InputFault
from daq.records.shelf import Article
from protocols.limits import Limit, Tightening, derive, tighten
from protocols.plan import Plan, Segment
from protocols.preview import preview
from protocols.ratings import ratings_of
from protocols.recipe import expand, load_recipe
from protocols.rules import Rules, derive_rules
from tests.protocols.articles import article

PLAN = expand(load_recipe("short-staircase"))


def bus_current_a(of: Article, throttle_frac: float) -> tuple[float, float]:
    """Current and voltage of the pack by root search, in rpm and rpm/V.

    An independent way to the same physics: M. Drela, First-Order DC Electric Motor
    Model (MIT, 2007), Q = (i - i0)/Kv and speed = (v - i R) Kv; propeller power
    C_P rho n^3 D^5 (tests/reference/uiuc_static.toml, definitions).
    """
    if throttle_frac == 0:
        return 0.0, of.source_v
    assert of.air is not None
    density = 100 * of.air.pressure_hpa / (287.05287 * (of.air.temperature_c + 273.15))
    pack_ohm = (of.source.resistance_mohm or 0.0) / 1000
    winding_ohm = of.motor.resistance_ohm or 0.0
    idle_a = of.motor.no_load_current_a or 0.0

    def excess_power_w(motor_a: float) -> float:
        pack_v = of.source_v - pack_ohm * throttle_frac * motor_a
        emf_v = throttle_frac * pack_v - motor_a * winding_ohm
        turns_s = emf_v * of.motor.kv_rpm_v / 60
        wanted_w = (
            (of.propeller.power_coefficient or math.nan)
            * density
            * turns_s**3
            * (of.propeller.diameter_mm / 1000) ** 5
        )
        return (motor_a - idle_a) * emf_v - wanted_w

    # The motor gives nothing at its idle current and too much at its best; between
    # them lies the one state at which the propeller takes just what is given.
    stall_a = throttle_frac * of.source_v / (winding_ohm + throttle_frac**2 * pack_ohm)
    if stall_a <= idle_a:
        return throttle_frac * stall_a, of.source_v - (
            pack_ohm * throttle_frac * stall_a
        )
    currents = np.linspace(idle_a, stall_a, 400)
    above = next(a for a in currents[1:] if excess_power_w(float(a)) > 0)
    motor_a = brentq(excess_power_w, idle_a, float(above), xtol=1e-12)
    taken_a = throttle_frac * float(motor_a)
    return taken_a, of.source_v - pack_ohm * taken_a


def stepped(plan: Plan, of: Article, step_s: float) -> tuple[float, float, float]:
    """Peak current, charge and energy by walking the plan in small steps."""
    times_s = np.arange(0, plan.duration_s, step_s) + step_s / 2
    cache: dict[float, tuple[float, float]] = {}
    states = []
    for time_s in times_s:
        throttle_frac = plan.setpoint_at(float(time_s))
        if throttle_frac not in cache:
            cache[throttle_frac] = bus_current_a(of, throttle_frac)
        states.append(cache[throttle_frac])
    currents_a, volts = np.array(states).T
    return (
        float(currents_a.max()),
        float(currents_a.sum() * step_s),
        float((currents_a * volts).sum() * step_s),
    )


def test_charge_energy_and_peaks_agree_with_an_independent_walk() -> None:
    quad = article()
    seen = preview(PLAN, quad)
    peak_a, charge_c, energy_j = stepped(PLAN, quad, 0.005)
    assert seen.peak_current_a == pytest.approx(peak_a, rel=1e-6)
    assert seen.charge_c == pytest.approx(charge_c, rel=2e-4)
    assert seen.energy_j == pytest.approx(energy_j, rel=2e-4)
    assert seen.peak_power_w == pytest.approx(
        math.prod(bus_current_a(quad, 0.95)), rel=1e-6
    )


def test_a_long_ramp_is_integrated_and_not_taken_at_its_end() -> None:
    plan = Plan(
        "ramp",
        "Ramp",
        (
            Segment("ramp", "up", 0, 0.0, 0.9, 20.0),
            Segment("ramp", "rest", -1, 0.9, 0.0, 20.0),
        ),
    )
    quad = article()
    _, charge_c, energy_j = stepped(plan, quad, 0.02)
    seen = preview(plan, quad)
    assert seen.charge_c == pytest.approx(charge_c, rel=5e-4)
    assert seen.energy_j == pytest.approx(energy_j, rel=5e-4)


def test_the_share_of_the_pack_is_charge_over_rated_capacity() -> None:
    seen = preview(PLAN, article())
    # 450 mAh is 1620 C.
    assert seen.pack_fraction_used == pytest.approx(seen.charge_c / 1620)


def test_rows_cover_the_plan_without_gap_and_add_up_to_it() -> None:
    seen = preview(PLAN, article())
    assert [row.segment for row in seen.rows] == list(PLAN.segments)
    for before, after in zip(seen.rows, seen.rows[1:], strict=False):
        assert after.start_s == pytest.approx(
            before.start_s + before.segment.duration_s
        )
    assert math.fsum(row.charge_c for row in seen.rows) == pytest.approx(seen.charge_c)
    rests = [row for row in seen.rows if row.segment.kind == "rest"]
    assert {row.mean_current_a for row in rests} == {0.0}


def test_the_nearest_limit_is_named_with_the_place_where_it_comes_nearest() -> None:
    seen = preview(PLAN, article())
    assert seen.nearest is not None
    assert seen.nearest.channel == "current"
    assert seen.nearest.bound == 12
    assert seen.nearest.share == pytest.approx(seen.peak_current_a / 12)
    assert seen.nearest.throttle_frac == 0.95
    # Rest of 2 s; five levels of 1.8 s and 0.8 s of ramp; the last ramp takes 0.15 s.
    assert seen.nearest.at_s == pytest.approx(2 + 5 * 1.8 + 0.8 + 0.15)


def test_another_limit_can_be_the_nearest() -> None:
    quad = article(propeller__max_rpm=42_000)
    seen = preview(PLAN, quad)
    assert seen.nearest is not None
    assert seen.nearest.channel == "speed"
    assert seen.nearest.share == pytest.approx(
        max(row.peak.speed_rad_s for row in seen.rows) / (42_000 * math.pi / 30)
    )


def test_sag_counts_against_the_low_voltage_limit() -> None:
    weak = article(pack__resistance_mohm=250.0, plug__rated_a=14.0)
    seen = preview(PLAN, weak)
    assert seen.nearest is not None
    assert seen.nearest.channel == "voltage"
    current_a, voltage_v = bus_current_a(weak, 0.95)
    assert seen.nearest.value == pytest.approx(voltage_v)
    assert seen.nearest.share == pytest.approx(0.25 * current_a / (12.6 - 9.9))


def test_thrust_counts_where_the_article_knows_its_coefficient() -> None:
    limits = derive(ratings_of(article(), load_cell_range_n=3.0), ("thrust",))
    seen = preview(PLAN, article(), limits)
    assert seen.nearest is not None
    assert seen.nearest.channel == "thrust"
    # T = C_T rho n^2 D^4 with the speed of the row itself.
    turns_s = max(row.peak.speed_rad_s for row in seen.rows) / (2 * math.pi)
    density = 100_800 / (287.05287 * 294.15)
    assert seen.nearest.value == pytest.approx(0.17 * density * turns_s**2 * 0.0762**4)
    unknown = preview(PLAN, article("propeller__thrust_coefficient"), limits)
    assert unknown.nearest is None
    assert unknown.rows[5].peak_thrust_n is None


def test_a_plan_that_would_trip_says_so() -> None:
    seen = preview(PLAN, article(plug__rated_a=8.0))
    (warning,) = seen.warnings
    assert warning.startswith("This plan would probably trip: current, 10.5 A")
    assert "8 A" in warning


def test_a_plan_that_comes_close_says_so_and_an_easy_one_is_silent() -> None:
    (warning,) = preview(PLAN, article(plug__rated_a=11.0)).warnings
    assert warning.startswith("This plan comes close to a limit")
    assert preview(PLAN, article()).warnings == ()


def test_limits_tightened_by_hand_are_the_ones_that_count() -> None:
    limits = tighten(
        derive(ratings_of(article()), ("current",)), [Tightening("current", high=6.0)]
    )
    seen = preview(PLAN, article(), limits)
    assert seen.limits == limits
    assert seen.nearest is not None
    assert seen.nearest.share > 1


def test_a_low_voltage_limit_above_the_full_pack_is_beyond_any_share() -> None:
    limits = (Limit("voltage", 13.0, 14.0, 1, 0.1, "test"),)
    seen = preview(PLAN, article(), limits)
    assert seen.nearest is not None
    assert math.isinf(seen.nearest.share)
    assert seen.warnings[0].startswith("This plan would probably trip: voltage")
    json.dumps(seen.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("capacity_mah", "says"), [(45.0, "expect the later levels"), (28.0, "split it")]
)
def test_a_plan_that_drains_the_pack_says_so(capacity_mah: float, says: str) -> None:
    seen = preview(PLAN, article("pack__c_rate", pack__capacity_mah=capacity_mah))
    assert any(says in warning for warning in seen.warnings)


def test_an_unrated_motor_is_worth_a_warning() -> None:
    seen = preview(PLAN, article("motor__max_current_a"))
    assert any("does not rate its motor" in warning for warning in seen.warnings)


def test_an_article_without_any_current_rating_is_refused() -> None:
    unrated = article(
        "plug__rated_a",
        "motor__max_current_a",
        "esc__continuous_a",
        "esc__burst_a",
        "pack__c_rate",
    )
    with pytest.raises(InputFault, match="no current rating"):
        preview(PLAN, unrated)


def test_everything_assumed_is_said() -> None:
    bare = article(
        "air",
        "motor__resistance_ohm",
        "motor__no_load_current_a",
        "pack__resistance_mohm",
        "propeller__power_coefficient",
    )
    said = " ".join(preview(PLAN, bare).assumptions)
    for word in (
        "0.12, assumed for 3 blades",
        "the standard atmosphere",
        "No motor.resistance_ohm",
        "No motor.no_load_current_a",
        "No pack.resistance_mohm",
    ):
        assert word in said
    known = " ".join(preview(PLAN, article()).assumptions)
    assert "0.1, as the article gives it" in known
    assert "No " not in known


def test_a_preview_is_plain_json() -> None:
    seen = preview(PLAN, article())
    data = json.loads(json.dumps(seen.to_dict(), allow_nan=False))
    assert data["peak_current_a"] == seen.peak_current_a
    assert data["nearest"]["channel"] == "current"
    assert len(data["rows"]) == len(PLAN.segments)
    assert data["rows"][3]["peak"]["power_w"] == seen.rows[3].peak.power_w


def test_a_limit_on_something_unforeseeable_is_left_out() -> None:
    limits = (Limit("temperature", 0.0, 400.0, 1, 1.0, "test"),)
    assert preview(PLAN, article(), limits).nearest is None


def test_a_plan_without_propeller_is_estimated_without_its_load() -> None:
    seen = preview(expand(load_recipe("idle-spin")), article())
    # At no load: speed = Kv (d V - i0 R), bus current = d i0; M. Drela, First-Order
    # DC Electric Motor Model (MIT, 2007); the pack sags by 15 mV.
    top = next(row for row in seen.rows if row.segment.end_frac == 0.3)
    assert top.end.current_a == pytest.approx(0.3 * 0.6)
    rpm = top.end.speed_rad_s * 30 / math.pi
    assert rpm == pytest.approx(4600 * (0.3 * (12.6 - 0.0153) - 0.6 * 0.22))
    assert seen.warnings[0].startswith("Propeller off")
    assert any(limit.high == pytest.approx(3141.59) for limit in seen.limits)
    assert "No propeller" in " ".join(seen.assumptions)


def test_a_plan_with_its_propeller_never_says_to_take_it_off() -> None:
    seen = preview(expand(load_recipe("staircase")), article())
    assert "ropeller off" not in " ".join((*seen.warnings, *seen.assumptions))


def test_a_punch_is_warned_of_for_what_it_draws_before_the_motor_follows() -> None:
    plan = expand(load_recipe("punch"))
    seen = preview(plan, article())
    surges = [row.surge_a for row in seen.rows if row.surge_a is not None]
    assert len(surges) == 3
    (warning,) = seen.warnings
    assert f"{surges[0]:.1f} A for some hundredths" in warning
    assert "may trip" not in warning
    tight = preview(plan, article(plug__rated_a=10.0))
    assert any("the current limit is 10 A: it may trip" in w for w in tight.warnings)


def test_a_rating_for_seconds_that_is_used_up_would_trip() -> None:
    quad = article(plug__rated_a=4.0, plug__short_a=14.0, plug__short_s=0.5)
    limits = derive(ratings_of(quad), ("current",), ("plug",))
    rules = derive_rules(ratings_of(quad), ("plug",))
    seen = preview(PLAN, quad, limits, rules)
    assert seen.uses[0].share > 1
    assert any(
        w.startswith("This plan would probably trip: plug, ") for w in seen.warnings
    )


def test_a_rating_for_seconds_that_is_nearly_used_up_comes_close() -> None:
    quad = article(plug__rated_a=4.0, plug__short_a=14.0, plug__short_s=1.0)
    limits = derive(ratings_of(quad), ("current",), ("plug",))
    (burst,) = derive_rules(ratings_of(quad), ("plug",)).bursts
    (use,) = preview(PLAN, quad, limits, Rules(bursts=(burst,))).uses
    roomier = replace(burst, short_s=burst.short_s * use.share / 0.95)
    seen = preview(PLAN, quad, limits, Rules(bursts=(roomier,)))
    assert seen.uses[0].share == pytest.approx(0.95)
    assert any("comes close to a timed limit: plug, 95 %" in w for w in seen.warnings)
    told = json.loads(json.dumps(seen.to_dict(), allow_nan=False))["uses"]
    assert told[0]["burst"]["part"] == "plug"
    assert told[0]["share"] == pytest.approx(0.95)


def test_a_bench_supply_is_named_with_what_it_does_differently() -> None:
    fed = article("pack", supply={"voltage_v": 12.0, "current_limit_a": 14.0})
    seen = preview(PLAN, fed)
    assert seen.pack_fraction_used is None
    said = " ".join(seen.warnings)
    assert "At its current limit, 14 A, the supply lets the voltage fall" in said
    assert "takes no current back" in said
    assumed = " ".join(seen.assumptions)
    assert "The supply at 12 V" in assumed
    assert "No supply.resistance_mohm" in assumed
    assert "ack" not in assumed
    assert "% of the pack" not in seen.takes()
    assert "% of the pack" in preview(PLAN, article()).takes()


def test_the_current_limit_of_a_supply_bounds_the_current() -> None:
    fed = article("pack", supply={"voltage_v": 12.0, "current_limit_a": 9.0})
    seen = preview(PLAN, fed)
    assert seen.nearest is not None
    assert (seen.nearest.channel, seen.nearest.bound) == ("current", 9.0)
    assert seen.nearest.share > 1
