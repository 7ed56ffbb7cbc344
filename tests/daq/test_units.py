"""Conversions against published constants.

Source: NIST SP 811 (2008), appendix B; 3rd CGPM (1901) for standard gravity;
the motor constant's conversion: M. Drela, First-Order DC Electric Motor Model
(MIT, 2007), figures recomputed.
"""

import math

import pytest

from daq import units


def test_the_exact_factors() -> None:
    assert units.gf_to_n(1.0) == 9.80665e-3
    assert units.in_to_m(1.0) == 0.0254
    assert units.rpm_to_rad_s(1.0) == pytest.approx(0.10471975511965977, rel=1e-15)
    assert units.c_to_k(0.0) == 273.15


@pytest.mark.parametrize(
    ("there", "back"),
    [
        (units.gf_to_n, units.n_to_gf),
        (units.in_to_m, units.m_to_in),
        (units.rpm_to_rad_s, units.rad_s_to_rpm),
        (units.c_to_k, units.k_to_c),
    ],
)
def test_there_and_back(there: object, back: object) -> None:
    assert back(there(12.5)) == pytest.approx(12.5)  # type: ignore[operator]


def test_the_motor_constant() -> None:
    assert units.kv_to_volt_second(7500) == pytest.approx(0.001273240, rel=1e-6)
    assert units.kv_to_volt_second(1) == pytest.approx(60 / (2 * math.pi))
