"""What neither calibration nor readings show acts as it is said, and is the stand's."""

import math

import numpy as np
import pytest

from daq.analysis.run import analyse
from daq.analysis.scale import PowerPart, Scale
from daq.analysis.series import Series
from daq.analysis.unseen import ASLEEP, SEAT, USUAL, WASH, Unseen
from tests.daq.analysis.invented import Noise, record, staircase


def _series(name: str, scale: Scale | None = None) -> Series:
    return Series(name, "any", np.arange(3.0), np.ones(3), 0.01, 1e-3, scale)


def test_seat_and_wash_are_shares_of_thrust_and_asleep_is_a_current() -> None:
    unseen, value = Unseen(0.01, 0.02, 0.05), np.array([1.0, -2.0])
    thrust = unseen.sources(_series("thrust"), value)
    assert thrust[SEAT].factor[:, 0] == pytest.approx(0.01 / math.sqrt(3) * value)
    assert thrust[WASH].factor[:, 0] == pytest.approx(0.02 / math.sqrt(3) * value)
    amps = unseen.sources(_series("current"), value)
    assert amps[ASLEEP].factor[:, 0] == pytest.approx([0.05 / math.sqrt(3)] * 2)
    assert not unseen.sources(_series("voltage"), value)


def test_an_article_that_was_mounted_two_ways_stands_for_the_wash() -> None:
    tried = Scale((PowerPart("mounting", (1,), np.array([[0.004]])),))
    found = USUAL.sources(_series("thrust", tried), np.ones(2))
    assert np.all(found[WASH].factor == 0.0)
    assert np.all(found[SEAT].factor > 0.0)


def test_nothing_is_added_unless_asked_for() -> None:
    holds = staircase((0.2, 0.35, 0.5, 0.65, 0.8, 0.95))
    series = record(holds, Noise(), np.random.default_rng(1))
    plain = analyse(series, holds)
    careful = analyse(series, holds, unseen=USUAL)
    assert USUAL.names.isdisjoint(plain.evidence.of_scale)
    assert USUAL.names <= careful.evidence.of_scale
    for channel, wider in (("thrust", True), ("current", True), ("voltage", False)):
        before = plain.plateaus.channels[channel].measured
        after = careful.plateaus.channels[channel].measured
        assert np.array_equal(before.value, after.value)
        assert bool(np.all(after.variance() > before.variance())) is wider
    # In specific thrust both act, through power.
    specific = careful.evidence.specific
    assert specific is not None
    assert USUAL.names <= set(specific.sources)
