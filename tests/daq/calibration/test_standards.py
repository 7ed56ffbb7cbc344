"""Masses, coins, lever and place, and what each is worth."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from daq.calibration.gravity import Gravity, gravity_anywhere, local_gravity
from daq.calibration.meter import Meter, meter_from, metered
from daq.calibration.reference import GRAVITY
from daq.calibration.standards import Standards, masses_of, read_standards
from daq.errors import InputFault
from tests.daq.calibration.invented import club_masses

FILE = """
format = 1
name = "a box"
pushes = "against thrust"
order = "one at a time"
[lever]
mass_arm_mm = 50.0
thrust_arm_mm = 100.0
u_mm = 0.5
[gravity]
latitude_deg = 52.0
[[mass]]
name = "50 g"
mass_g = 50.0
oiml_class = "M2"
[[mass]]
name = "lump"
mass_g = 123.4
u_g = 0.1
"""


def test_a_file_becomes_forces_on_the_thrust_axis(tmp_path: Path) -> None:
    path = tmp_path / "box.toml"
    path.write_text(FILE)
    known = masses_of(read_standards(path))
    g = local_gravity(52.0, None).value_m_s2
    air = 1.0 - 1.2 / 8000.0
    assert known.value_si == pytest.approx(
        [-0.5 * 0.050 * g * air, -0.5 * 0.1234 * g * air]
    )
    assert [level.name for level in known.levels] == ["50 g", "123.4 g"]
    assert known.cautions == ()


def test_masses_of_a_class_are_half_correlated_and_a_stack_adds_them_up() -> None:
    known = masses_of(club_masses(on_axis=True, lever=None))
    factor = known.causes["standards"] / known.si_per_piece_unit
    single = np.diff(np.concatenate((np.zeros((1, factor.shape[1])), factor)), axis=0)
    cov = single @ single.T
    u_g = np.sqrt(np.diag(cov))
    # Class M1: within 2.5, 3, 5, 5, 10 mg; a bound is a rectangle (GUM 4.3.7).
    assert u_g * np.sqrt(3.0) == pytest.approx([2.5e-3, 3e-3, 5e-3, 5e-3, 10e-3])
    assert cov[2, 3] / (u_g[2] * u_g[3]) == pytest.approx(0.5)


def test_gravity_that_is_not_known_covers_the_earth_and_is_said() -> None:
    known = masses_of(club_masses(gravity=None))
    u_rel = float(known.causes[GRAVITY][-1, 0]) / float(known.value_si[-1])
    assert u_rel == pytest.approx(gravity_anywhere().u_rel)
    assert any("0.21 %" in words for words in known.cautions)
    for latitude in (0.0, 45.0, -90.0):
        place = local_gravity(latitude, 1000.0)
        off = abs(place.value_m_s2 - gravity_anywhere().value_m_s2)
        assert off < np.sqrt(3.0) * gravity_anywhere().u_m_s2


def test_coins_say_what_they_cost() -> None:
    coins = {"coin": "EUR 2 euro", "count": 12, "batch": 5}
    known = masses_of(club_masses(mass=[], coins=[coins]))
    assert [piece.value for piece in known.pieces] == pytest.approx([42.5, 42.5, 17.0])
    assert any("known to 1.7 %" in words for words in known.cautions)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"mass": [{"name": "x", "mass_g": 5.0}]}, "how well it is known"),
        ({"mass": []}, "no [[mass]]"),
        (
            {"mass": [{"name": "x", "mass_g": 1.0, "u_g": 1e-3}] * 2},
            "two masses are called",
        ),
        ({"on_axis": True}, "take one of them out"),
        ({"gravity": {"g_m_s2": 9.81}}, "only together"),
        (
            {
                "mass": [
                    {"name": "x", "mass_g": 1.0, "u_g": 1e-3, "balance_u_percent": 1.0}
                ]
            },
            "without a balance",
        ),
    ],
)
def test_what_a_file_leaves_open_is_refused(
    changed: dict[str, object], words: str
) -> None:
    with pytest.raises(ValueError, match=words.replace("[", r"\[")):
        club_masses(**changed)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"mass": [{"name": "x", "mass_g": 75.0, "oiml_class": "M1"}]},
            "no 75 g weight",
        ),
        (
            {"mass": [{"name": "x", "mass_g": 50.0, "oiml_class": "M9"}]},
            "no class of weights",
        ),
        ({"coins": [{"coin": "EUR 3 euro", "count": 5}]}, "EUR 2 euro"),
        (
            {"coins": [{"coin": "EUR 2 euro", "count": 99, "batch": 1}]},
            "larger batch",
        ),
    ],
)
def test_masses_that_there_are_not_are_refused(
    changed: dict[str, object], words: str
) -> None:
    with pytest.raises(InputFault, match=words):
        masses_of(club_masses(**changed))


def test_a_newtons_key_is_not_taken_for_grams(tmp_path: Path) -> None:
    path = tmp_path / "box.toml"
    path.write_text(FILE.replace("mass_g = 50.0", "force_n = 0.49"))
    with pytest.raises(InputFault, match="force_n value 1 is not a known key"):
        read_standards(path)


def test_a_balance_of_its_own_scale_is_shared() -> None:
    mass = {
        "mass_g": 100.0,
        "u_g": 0.02,
        "balance": "kitchen scale",
        "balance_u_percent": 0.1,
    }
    box = [{"name": name, **mass} for name in ("a", "b")]
    known = masses_of(club_masses(mass=box, on_axis=True, lever=None))
    u_g = float(np.linalg.norm(known.causes["standards"][-1])) / known.si_per_piece_unit
    assert u_g == pytest.approx(np.hypot(0.2, 0.02 * np.sqrt(2.0)))


# --------------------------------------------------------------- meters


def test_a_meter_is_as_good_as_its_maker_states() -> None:
    meter = meter_from("0.5% + 2 x 0.01")
    assert meter == Meter(0.5, 2, 0.01)
    known = metered(meter, [8.0, 12.0], "V")
    covariance = known.covariance()
    u = np.sqrt(np.diag(covariance))
    share, digits = 0.005 * 12.0 / np.sqrt(3.0), 0.02 / np.sqrt(3.0)
    assert u[1] == pytest.approx(np.hypot(share, digits))
    # The scale of the meter and half of its digits are the same at both.
    assert covariance[0, 1] == pytest.approx(
        8.0 * 12.0 * 0.005**2 / 3.0 + 0.5 * digits**2
    )


def test_a_known_load_turns_volts_into_amperes() -> None:
    known = metered(Meter(0.5, 0, 0.0, 0.5, 0.005), [1.0, 2.0], "A")
    assert known.value_si == pytest.approx([2.0, 4.0])
    assert known.u_rel() == pytest.approx(np.hypot(0.005 / np.sqrt(3.0), 0.01))


@pytest.mark.parametrize("text", ["half a per cent", "0.5", "0.5% + 2", "200% + 1 x 1"])
def test_an_accuracy_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputFault, match=r"0\.5% \+ 2 x 0\.01"):
        meter_from(text)


def test_a_load_must_have_an_uncertainty() -> None:
    with pytest.raises(InputFault, match="standard uncertainty"):
        Meter(0.5, 1, 0.01, 1.0)


def test_an_unknown_format_is_refused() -> None:
    with pytest.raises(ValueError, match="format"):
        Standards.model_validate({"format": 2, "name": "x"})


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: local_gravity(91.0, None), "latitude_deg is 91"),
        (lambda: local_gravity(52.0, 9000.0), "height_m is 9000"),
        (lambda: Gravity(1.62, 0.001, "on the moon"), "on this earth"),
        (lambda: Gravity(9.81, 0.5, "a guess"), "uncertainty of gravity is 0.5"),
    ],
)
def test_a_place_that_is_not_on_this_earth_is_refused(
    make: Callable[[], Gravity], words: str
) -> None:
    with pytest.raises(InputFault, match=words):
        make()


def test_measured_gravity_and_a_bound_on_a_mass_are_taken_as_they_are() -> None:
    known = masses_of(
        club_masses(
            gravity={"g_m_s2": 9.8, "u_m_s2": 0.0049},
            mass=[{"name": "lump", "mass_g": 100.0, "tolerance_g": 0.3}],
            lever=None,
            on_axis=True,
        )
    )
    assert known.facts is not None
    assert known.facts["gravity_m_s2"] == 9.8
    force_n = float(known.value_si[0])
    assert known.causes[GRAVITY][0, 0] / force_n == pytest.approx(5e-4)
    assert known.causes["standards"][0, 0] / force_n == pytest.approx(
        0.003 / np.sqrt(3.0)
    )


def test_a_height_that_is_not_known_costs_what_it_may_be() -> None:
    known, unknown = local_gravity(52.0, 300.0), local_gravity(52.0, None)
    assert known.value_m_s2 == unknown.value_m_s2
    # 500 m of free air: 1.5 mm/s^2.
    assert unknown.u_m_s2**2 - known.u_m_s2**2 == pytest.approx(
        (500.0**2 - 100.0**2) * 3.086e-6**2, rel=0.01
    )
