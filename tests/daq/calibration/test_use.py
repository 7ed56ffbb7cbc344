"""Whether a calibration fits, and what time and heat add."""

import math
from dataclasses import replace

import pytest

from daq.calibration.use import OLD_DAYS, beyond_rel, fits, used
from daq.errors import InputFault
from tests.daq.calibration.invented import made

MADE = made()


def drift(at_utc: str, **more: object) -> float:
    return used(MADE, at_utc, **more).drift.factor[0][0]  # type: ignore[arg-type]


def test_another_stand_or_channel_is_refused() -> None:
    fits(MADE, "thrust", 0x7E51)
    with pytest.raises(InputFault, match="is of thrust, not of current"):
        fits(MADE, "current", 0x7E51)
    with pytest.raises(InputFault, match=r"stand 00007e51, and this is stand 00000001"):
        fits(MADE, "thrust", 1)
    with pytest.raises(InputFault, match="seed 2"):
        fits(MADE, "thrust", 0x7E51, "seed 2")


def test_a_simulated_stands_calibration_is_no_real_stands() -> None:
    with pytest.raises(InputFault, match="is of a real stand, and this is a sim"):
        fits(MADE, "thrust", 0x7E51, simulated=True)


def test_drift_grows_with_age_and_with_the_distance_in_temperature() -> None:
    today, later = "2026-05-09T12:00:00+00:00", "2026-11-09T12:00:00+00:00"
    assert drift(later, temperature_c=21.0) > 5.0 * drift(today, temperature_c=21.0)
    assert drift(today, temperature_c=31.0) == pytest.approx(
        1e-3 / math.sqrt(3), rel=1e-3
    )
    # Not written down: eight kelvin are taken.
    assert drift(today) == pytest.approx(8e-4 / math.sqrt(3.0), rel=1e-3)


def test_an_old_one_says_so_until_a_check_passes() -> None:
    late = "2027-06-01T12:00:00+00:00"
    assert f"every {OLD_DAYS:.0f} days" in used(MADE, late).cautions[0]
    checked = used(MADE, late, checked_utc=["2027-05-31T12:00:00+00:00"])
    assert checked.cautions == ()
    assert checked.drift.factor[0][0] < drift(late)
    # A check of before the calibration, or of after the run, counts for nothing.
    for other in ("2026-01-01T00:00:00+00:00", "2028-01-01T00:00:00+00:00"):
        assert used(MADE, late, checked_utc=[other]).cautions != ()


def test_one_of_after_the_run_says_so() -> None:
    assert "after the run" in used(MADE, "2026-05-01T12:00:00+00:00").cautions[0]


def test_a_date_that_is_none_is_refused() -> None:
    with pytest.raises(InputFault, match="no date"):
        used(MADE, "yesterday")
    assert used(MADE, "2026-05-10").cautions == ()


def test_beyond_the_range_a_scale_that_was_not_straight_is_worth_less() -> None:
    assert beyond_rel(MADE) == 0.005
    (stray,) = MADE.strays
    rough = replace(stray, u_si=tuple(0.01 * MADE.largest_si for _ in stray.u_si))
    assert beyond_rel(replace(MADE, strays=(rough,))) == pytest.approx(0.03)
