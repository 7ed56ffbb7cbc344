"""What the analysis refuses, each in one sentence."""

from collections.abc import Callable

import numpy as np
import pytest

from daq.analysis.series import Array, Hold, Series, check_run
from daq.errors import InputFault

AXIS = np.arange(10.0)


def channel(
    t_s: Array = AXIS,
    value_si: Array | None = None,
    gain_u_rel: float = 0.01,
    resolution_si: float = 0.001,
) -> Series:
    value = np.ones(t_s.size) if value_si is None else value_si
    return Series("thrust", "force", t_s, value, gain_u_rel, resolution_si)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: channel(value_si=np.ones(9)), "one time a reading"),
        (lambda: channel(t_s=AXIS[::-1]), "never step back"),
        (lambda: channel(t_s=np.append(AXIS[:-1], np.nan)), "finite"),
        (lambda: channel(gain_u_rel=-0.1), "gain_u_rel"),
        (lambda: channel(gain_u_rel=float("nan")), "gain_u_rel"),
        (lambda: channel(resolution_si=float("inf")), "resolution_si"),
    ],
)
def test_a_channel_that_cannot_be_is_refused(
    make: Callable[[], Series], said: str
) -> None:
    with pytest.raises(InputFault, match=said):
        make()


def test_between_takes_the_start_and_leaves_the_end() -> None:
    t_s, value = channel().between(2.0, 5.0)
    assert t_s.tolist() == [2.0, 3.0, 4.0]
    assert value.size == 3


@pytest.mark.parametrize(
    ("throttle_frac", "start_s", "end_s", "said"),
    [
        (1.2, 0.0, 1.0, "throttle_frac"),
        (float("nan"), 0.0, 1.0, "throttle_frac"),
        (0.5, 2.0, 1.0, "in that order"),
        (0.5, 0.0, float("nan"), "in that order"),
    ],
)
def test_a_hold_that_cannot_be_is_refused(
    throttle_frac: float, start_s: float, end_s: float, said: str
) -> None:
    with pytest.raises(InputFault, match=said):
        Hold("dwell", "up", 1, throttle_frac, start_s, end_s)


def test_a_run_without_channels_is_refused() -> None:
    with pytest.raises(InputFault, match="no channel"):
        check_run({}, [])


def test_a_channel_under_another_name_is_refused() -> None:
    with pytest.raises(InputFault, match='"thrust" was given under the name "force"'):
        check_run({"force": channel()}, [])


def test_a_run_without_a_reading_is_refused() -> None:
    empty = channel(t_s=np.zeros(0), value_si=np.zeros(0))
    with pytest.raises(InputFault, match="no channel holds a reading"):
        check_run({"thrust": empty}, [])


def test_two_time_axes_mixed_up_are_refused() -> None:
    hold = Hold("dwell", "up", 1, 0.5, 1000.0, 1003.0)
    with pytest.raises(InputFault, match="device's time axis"):
        check_run({"thrust": channel()}, [hold])


def test_overlapping_holds_are_refused_and_a_clocks_last_digit_is_not() -> None:
    first = Hold("dwell", "up", 1, 0.5, 1.0, 3.0)
    with pytest.raises(InputFault, match="may not overlap"):
        check_run({"thrust": channel()}, [Hold("dwell", "up", 2, 0.6, 2.0, 4.0), first])
    check_run({"thrust": channel()}, [first, Hold("dwell", "up", 2, 0.6, 2.9995, 4.0)])
