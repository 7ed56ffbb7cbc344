import csv
import math
import tomllib
from pathlib import Path
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.estimate import (
    ASSUMED_POWER_COEFFICIENT_A_BLADE,
    Drive,
    air_density_kg_m3,
    drive_of,
    operating_point,
    surge_current_a,
    thrust_n,
)
from tests.protocols.articles import article

REFERENCE = Path(__file__).parents[1] / "reference"
RPM = math.pi / 30

with (REFERENCE / "uiuc_static.csv").open(encoding="utf-8") as table:
    PROPELLER_ROWS = list(csv.DictReader(table))
MOTOR = tomllib.loads((REFERENCE / "rotor_motor.toml").read_text())["dc_motor_model"]


@pytest.mark.parametrize("winding", ["winding_1V5", "winding_3V0"])
def test_the_model_meets_a_published_motor_at_its_listed_load(winding: str) -> None:
    # A catalogue that lists every quantity: tests/reference/rotor_motor.toml,
    # dc_motor_model.published_datasheet; three digits, model good to 1.3 %.
    nominal_v, no_load_rpm, no_load_a, rpm, torque_mnm, current_a, *stall = MOTOR[
        "published_datasheet"
    ][winding]
    stall_mnm, stall_a = stall
    drive = Drive(
        torque_constant_v_s=1e-3 * stall_mnm / stall_a,
        resistance_ohm=nominal_v / stall_a,
        no_load_current_a=no_load_a,
        load_nm_s2=1e-3 * torque_mnm / (rpm * RPM) ** 2,
        source_v=nominal_v,
        source_ohm=0.0,
    )
    point = operating_point(drive, 1.0)
    assert point.speed_rad_s == pytest.approx(rpm * RPM, rel=0.013)
    assert point.current_a == pytest.approx(current_a, rel=0.013)
    unloaded = Drive(
        drive.torque_constant_v_s, drive.resistance_ohm, no_load_a, 0.0, nominal_v, 0.0
    )
    assert operating_point(unloaded, 1.0).speed_rad_s == pytest.approx(
        no_load_rpm * RPM, rel=0.013
    )


@pytest.mark.parametrize(
    "row", PROPELLER_ROWS, ids=lambda row: f"{row['prop']}@{row['rpm']}"
)
def test_load_and_thrust_follow_published_static_tests(row: dict[str, str]) -> None:
    # tests/reference/uiuc_static.csv; its torque and thrust are at 1.225 kg/m^3, the
    # sea level of ISO 2533, which stands in where nobody measured the air.
    tested = article(
        "air",
        propeller__diameter_mm=25.4 * float(row["diameter_in"]),
        propeller__power_coefficient=float(row["CP"]),
        propeller__thrust_coefficient=float(row["CT"]),
    )
    speed_rad_s = float(row["rpm"]) * RPM
    torque_nm = drive_of(tested).load_nm_s2 * speed_rad_s**2
    assert torque_nm == pytest.approx(float(row["torque_Nm"]), rel=1e-4)
    assert thrust_n(speed_rad_s, tested) == pytest.approx(
        float(row["thrust_N"]), rel=1e-4
    )


@pytest.mark.parametrize("blades", [2, 3])
def test_the_assumed_load_lies_on_the_high_side_of_published_ones(blades: int) -> None:
    published = [
        float(row["CP"]) for row in PROPELLER_ROWS if int(row["blades"]) == blades
    ]
    assumed = ASSUMED_POWER_COEFFICIENT_A_BLADE * blades
    assert median(published) < assumed
    # No published row, the noisy slow ones included, lies far above it.
    assert max(published) < 1.1 * assumed


def test_air_of_the_standard_atmosphere_has_its_density() -> None:
    # ISO 2533:1975, sea level: 15 degC, 1013.25 hPa, 1.225 kg/m^3.
    standard = article(air__temperature_c=15.0, air__pressure_hpa=1013.25)
    assert air_density_kg_m3(standard.air) == pytest.approx(1.225, abs=5e-5)


@given(
    throttle_frac=st.floats(0.001, 1),
    kv_rpm_v=st.floats(500, 30_000),
    resistance_ohm=st.floats(0, 2),
    no_load_current_a=st.floats(0, 2),
    load=st.floats(1e-12, 1e-7),
    source_ohm=st.floats(0, 0.5),
)
def test_every_point_balances_volts_torque_and_power(
    throttle_frac: float,
    kv_rpm_v: float,
    resistance_ohm: float,
    no_load_current_a: float,
    load: float,
    source_ohm: float,
) -> None:
    k_v_s = 1 / (kv_rpm_v * RPM)
    drive = Drive(k_v_s, resistance_ohm, no_load_current_a, load, 12.6, source_ohm)
    point = operating_point(drive, throttle_frac)
    motor_a = point.current_a / throttle_frac
    motor_v = throttle_frac * point.voltage_v
    assert point.voltage_v == pytest.approx(12.6 - source_ohm * point.current_a)
    assert motor_v == pytest.approx(
        motor_a * resistance_ohm + k_v_s * point.speed_rad_s, rel=1e-6, abs=1e-9
    )
    if point.speed_rad_s > 0:
        assert k_v_s * (motor_a - no_load_current_a) == pytest.approx(
            load * point.speed_rad_s**2, rel=1e-6, abs=1e-12
        )
    else:
        assert motor_a <= no_load_current_a + 1e-9
    # An ideal bridge loses nothing.
    assert point.power_w == pytest.approx(motor_v * motor_a)


def test_nothing_flows_at_zero_throttle() -> None:
    point = operating_point(drive_of(article()), 0.0)
    assert (point.current_a, point.speed_rad_s) == (0.0, 0.0)
    assert point.voltage_v == pytest.approx(12.6)


def test_a_throttle_too_low_to_break_away_only_heats_the_winding() -> None:
    drive = Drive(2e-3, 0.5, 1.0, 1e-9, 10.0, 0.0)
    point = operating_point(drive, 0.04)
    assert point.speed_rad_s == 0.0
    assert point.current_a == pytest.approx(0.04 * 0.4 / 0.5)


def test_figures_left_out_err_towards_more_current() -> None:
    full = operating_point(drive_of(article()), 1.0)
    for left_out in (
        "motor__resistance_ohm",
        "pack__resistance_mohm",
        "propeller__power_coefficient",
    ):
        guessed = operating_point(drive_of(article(left_out)), 1.0)
        assert guessed.current_a > full.current_a


def test_a_sudden_step_draws_at_first_what_the_windings_alone_would_let_through() -> (
    None
):
    # From standstill, 12 V, 0.2 ohm, half throttle: 6 V over 0.2 ohm is 30 A in the
    # motor, 15 A from the source (power in equals power out).
    still = Drive(2e-3, 0.2, 1e9, 0.0, 12.0, 0.0)
    assert surge_current_a(still, 0.0, 0.5) == pytest.approx(15.0)


def test_a_step_from_a_running_motor_draws_less_and_none_down() -> None:
    drive = drive_of(article())
    from_rest = surge_current_a(drive, 0.0, 0.8)
    running = surge_current_a(drive, 0.4, 0.8)
    down = surge_current_a(drive, 0.8, 0.1)
    assert from_rest is not None
    assert running is not None
    assert from_rest > running > operating_point(drive, 0.8).current_a
    assert down == 0.0


def test_a_step_is_unbounded_where_no_resistance_is_known() -> None:
    bare = article("motor__resistance_ohm", "pack__resistance_mohm")
    assert surge_current_a(drive_of(bare), 0.2, 0.9) is None


def test_a_motor_without_its_propeller_turns_nothing_but_itself() -> None:
    drive = drive_of(article(), propeller_off=True)
    assert drive.load_nm_s2 == 0.0
    assert operating_point(drive, 0.3).current_a == pytest.approx(0.3 * 0.6)
