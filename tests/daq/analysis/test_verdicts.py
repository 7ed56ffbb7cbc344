"""What a comparison says: its words, where a reader would stumble without them."""

from dataclasses import replace

import numpy as np

from daq.analysis.compare import Difference
from daq.analysis.remounting import Reproducibility
from daq.analysis.verdicts import rests_on, verdict

FLAT = np.full(3, 0.025)
APART = Difference(
    what="thrust",
    x=np.array([2.46, 6.0, 11.0]),
    first=np.ones(3),
    second=np.ones(3) + FLAT,
    ratio=FLAT,
    low=FLAT - 0.03,
    high=FLAT + 0.03,
    mean=(0.025, 0.006, 0.045),
    alone=0.01,
    reproducibility=Reproducibility(0.0065, 1.0, "2 runs"),
    shared_u=0.0,
    runs=(2, 2),
    verdict="cannot tell",
    where=None,
)


def test_a_mean_that_leaves_zero_out_does_not_contradict_the_verdict() -> None:
    said = verdict(APART, "A", "B")
    assert "cannot be told apart" in said
    assert "(95 % interval 0.6 to 4.5 %)" in said
    assert "the band over the whole range, which decides" in said
    across = verdict(replace(APART, mean=(0.025, -0.006, 0.056)), "A", "B")
    assert "decides" not in across


def test_a_range_is_told_with_three_digits_at_both_ends() -> None:
    assert "from 2.46 to 11.0 V at the motor" in verdict(APART, "A", "B")


def test_one_degree_of_freedom_is_one() -> None:
    assert "1 degree of freedom" in rests_on(APART)
    more = replace(APART, reproducibility=Reproducibility(0.0065, 3.0, "5 runs"))
    assert "3 degrees of freedom" in rests_on(more)
