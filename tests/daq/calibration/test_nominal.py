"""Counts to SI by the stand's own constants."""

import numpy as np
import pytest

from daq.calibration.nominal import UNDECLARED_GAIN_U_REL, nominal
from daq.link import messages as m


def page(gain_u_ppm: int) -> m.ChannelPage:
    return m.ChannelPage(
        0,
        m.Quantity.FORCE,
        m.Kind.POINT,
        4,
        -43_800.0,
        500,
        -(2**23),
        2**23 - 1,
        gain_u_ppm,
        0,
        "thrust",
    )


def test_counts_become_si_and_no_reading_becomes_nan() -> None:
    scale = nominal(page(20_000))
    counts = np.array([500, 500 - 43_800, -(2**31)])
    values = scale.to_si(counts)
    assert values[:2] == pytest.approx([0.0, 1.0])
    assert np.isnan(values[2])
    assert scale.resolution_si == pytest.approx(1 / 43_800)


def test_what_the_stand_declares_is_believed_and_said() -> None:
    assert (nominal(page(20_000)).gain_u_rel, nominal(page(20_000)).declared) == (
        0.02,
        True,
    )
    unknown = nominal(page(m.NOT_KNOWN_PPM))
    assert (unknown.gain_u_rel, unknown.declared) == (UNDECLARED_GAIN_U_REL, False)


def test_the_same_as_the_pages_own_conversion() -> None:
    counts = np.array([-70_000, 0, 12, 900_000])
    expected = [page(0).to_si(int(c)) for c in counts]
    assert nominal(page(0)).to_si(counts) == pytest.approx(expected)
