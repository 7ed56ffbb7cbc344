"""Tones below and above half the rate, told apart by two rates (Shannon 1949)."""

from collections.abc import Callable

import numpy as np
import pytest

from daq.analysis.aliases import Aliases, folded_hz, origins_of, tell_apart
from daq.analysis.ripple import Ripple, read_ripple
from daq.analysis.series import Array
from tests.daq.analysis.sampled import sampled, tone

FAST_S, SLOW_S = 10e-6, 13e-6


def read(signal: Callable[[Array], Array], period_s: float, **more: float) -> Ripple:
    ripple = read_ripple(
        sampled(lambda t: 12.0 + signal(t), period_s=period_s, step=0.01, **more)  # type: ignore[arg-type]
    )
    assert ripple is not None
    return ripple


def paired(
    signal: Callable[[Array], Array], later: Callable[[Array], Array] | None = None
) -> Aliases:
    found = tell_apart(read(signal, FAST_S), read(later or signal, SLOW_S))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("hertz", "seen"), [(70e3, 30e3), (130e3, 30e3), (30e3, 30e3), (100e3, 0.0)]
)
def test_a_line_folds_about_multiples_of_the_rate(hertz: float, seen: float) -> None:
    assert folded_hz(hertz, 100e3) == pytest.approx(seen)


def test_origins_are_all_that_fold_to_where_it_is_seen() -> None:
    assert origins_of(30e3, 100e3, 250e3) == [30e3, 70e3, 130e3, 170e3, 230e3]


@pytest.mark.parametrize("hertz", [5e3, 17.3e3, 33e3])
def test_a_tone_in_the_band_is_kept(hertz: float) -> None:
    first = paired(tone(hertz, 0.3)).told[0]
    assert first.verdict == "kept"
    assert first.line.hertz == pytest.approx(hertz, abs=1.0)


@pytest.mark.parametrize("hertz", [61e3, 96e3, 144e3])
def test_a_tone_above_half_the_rate_is_flagged_and_its_origin_found(
    hertz: float,
) -> None:
    found = paired(tone(hertz, 0.3))
    first = found.told[0]
    assert first.line.hertz == pytest.approx(folded_hz(hertz, 1.0 / FAST_S), abs=1.0)
    assert first.verdict == "alias"
    assert list(first.origins_hz) == pytest.approx([hertz], abs=2.0)


def test_what_folds_is_taken_off_the_ripple() -> None:
    both = paired(lambda t: tone(20e3, 0.3)(t) + tone(96e3, 0.4)(t))
    assert float(both.folded_si.value[0]) == pytest.approx(0.4 / 2**0.5, rel=0.01)
    assert float(both.in_band_rms_si.value[0]) == pytest.approx(0.3 / 2**0.5, rel=0.02)


def test_a_speed_that_changed_a_little_is_allowed_for() -> None:
    found = paired(tone(17_300.0, 0.3), tone(17_330.0, 0.3))
    assert found.told[0].verdict == "kept"


def test_a_line_that_is_gone_at_the_other_rate_is_nobodys() -> None:
    quiet = np.zeros_like
    found = paired(tone(22e3, 0.3), lambda t: quiet(t) + tone(7e3, 0.3)(t))
    assert found.told[0].verdict == "alone"
    assert found.told[0].origins_hz == ()


def test_where_several_origins_fit_none_is_claimed() -> None:
    # 40 us and 20 us: what folds at the one folds to the same place at the other.
    fast, slow = (read(tone(7e3, 0.3), period) for period in (20e-6, 40e-6))
    found = tell_apart(fast, slow)
    assert found is not None
    assert found.told[0].verdict == "unclear"
    assert found.told[0].origins_hz[0] == pytest.approx(7e3, abs=1.0)
    assert len(found.told[0].origins_hz) > 1


def test_rates_that_are_nearly_one_tell_nothing() -> None:
    one, other = (read(tone(20e3), period) for period in (10e-6, 10.1e-6))
    assert tell_apart(one, other) is None
