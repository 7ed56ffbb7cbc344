"""What differs between legs: ways, passes in shuffled order, about a burst."""

import numpy as np
import pytest

from daq.analysis.findings import Finding
from daq.analysis.legs import up_down
from daq.analysis.measured import Measured
from daq.analysis.run import analyse
from daq.analysis.series import Hold, HoldLeg, Series
from daq.errors import InputFault


class Bins:
    """Values at throttles on legs."""

    def __init__(self, *rows: tuple[str, float]) -> None:
        self.leg = tuple(leg for leg, _ in rows)
        self.throttle_frac = np.array([throttle for _, throttle in rows])


def differences(bins: Bins, *values: float) -> dict[float, float]:
    """Difference by throttle."""
    (found,) = up_down(bins, {"thrust": Measured(np.array(values), {})})
    return dict(zip(found.throttle_frac, found.difference.value, strict=True))


def test_levels_are_paired_by_throttle_whatever_the_order_of_either_pass() -> None:
    bins = Bins(
        ("first", 0.5),
        ("first", 0.2),
        ("first", 0.9),
        ("second", 0.9),
        ("second", 0.5),
        ("second", 0.2),
    )
    found = differences(bins, 5.0, 2.0, 9.0, 8.0, 4.5, 1.9)
    assert found == pytest.approx({0.5: 0.5, 0.2: 0.1, 0.9: 1.0})


def test_a_level_that_only_one_pass_has_is_left_out() -> None:
    bins = Bins(("first", 0.5), ("first", 0.2), ("second", 0.2))
    assert differences(bins, 5.0, 2.0, 1.5) == pytest.approx({0.2: 0.5})


def test_a_pass_is_never_compared_with_a_way() -> None:
    bins = Bins(("up", 0.5), ("second", 0.5))
    assert up_down(bins, {"thrust": Measured(np.array([1.0, 2.0]), {})}) == ()


def run(
    legs: tuple[HoldLeg, HoldLeg],
    drop: float,
    *,
    on_supply: bool = False,
    burst: bool = False,
) -> Finding:
    """Two levels on each of two legs, the later weaker by a share."""
    holds = [Hold("rest", "rest", -1, 0.0, 0.0, 4.0)]
    at_s, factors = 4.0, []
    for leg, factor in zip(legs, (1.0, 1.0 - drop), strict=True):
        for step, level in ((1, 0.8), (0, 0.4)):
            holds.append(Hold("dwell", leg, step, level, at_s + 0.3, at_s + 3.3))
            factors.append((holds[-1], factor))
            at_s += 3.3
        holds.append(Hold("rest", "rest", -1, 0.0, at_s + 0.5, at_s + 4.5))
        at_s += 4.5
    if burst:
        holds.append(Hold("burst", "up", 2, 0.9, at_s, at_s + 1.0, 0.4))
        at_s += 1.0
    t_s = np.arange(0.0, at_s, 0.0125)
    value = 0.002 * np.random.default_rng(2).standard_normal(t_s.size)
    for hold, factor in factors:
        inside = (t_s >= hold.start_s - 0.3) & (t_s < hold.end_s)
        value[inside] += 2.0 * factor * hold.throttle_frac**2
    series = {"thrust": Series("thrust", "force", t_s, value, 0.005, 1e-4)}
    found = analyse(series, holds, on_supply=on_supply)
    return next(f for f in found.findings if f.id == "up-down")


@pytest.mark.parametrize(
    ("legs", "burst", "later", "earlier"),
    [
        (("up", "down"), False, "on the way down", "on the way up"),
        (("first", "second"), False, "in the second pass", "in the first"),
        (("up", "down"), True, "after the burst", "before it"),
    ],
)
def test_the_words_follow_what_was_walked(
    legs: tuple[HoldLeg, HoldLeg], burst: bool, later: str, earlier: str
) -> None:
    said = run(legs, 0.05, burst=burst)
    assert f"lower {later} than {earlier}" in said.sentence
    assert said.low is not None
    assert said.high is not None
    # By 5 % of the middle of both: 2 (1 - 0.95) / (1 + 0.95).
    assert said.low < -100 * 0.05 / 0.975 < said.high
    alike = run(legs, 0.0, burst=burst)
    assert f"Thrust {later} cannot be told from that {earlier}" in alike.sentence


def test_on_a_supply_no_pack_is_to_blame() -> None:
    assert "a sagging pack" in " ".join(run(("up", "down"), 0.05).cautions)
    said = run(("up", "down"), 0.05, on_supply=True)
    assert "pack" not in " ".join(said.cautions)
    assert "a warmer motor" in " ".join(said.cautions)


@pytest.mark.parametrize("from_frac", [-0.1, 1.1, float("nan")])
def test_a_glide_from_nowhere_is_refused(from_frac: float) -> None:
    with pytest.raises(InputFault, match="from_frac"):
        Hold("glide", "up", 1, 0.5, 0.0, 1.0, from_frac)
