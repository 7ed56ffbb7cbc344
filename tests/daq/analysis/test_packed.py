"""What is said of the pack, against the plant's own pack."""

from functools import cache

import pytest

from daq.analysis.findings import Finding
from daq.analysis.pack import FittedPack
from daq.analysis.run import analyse
from daq.analysis.unseen import USUAL
from tests.daq.analysis.test_plug import ohms, record, walk

#: Of the rough stand, in ohm: pack; leads up to its voltage tap (its truth file).
PACK_OHM, LEADS_OHM = 0.066, 0.012 - 0.0025
FITTED = FittedPack("3 cells, 450 mAh", cells=3, floor_v=9.9, claim_a=33.75)


@cache
def told(*, on_supply: bool = False, sensed: bool = True) -> dict[str, Finding]:
    holds = walk()
    series = dict(record(ohms(0.003), 2, holds))
    if not sensed:
        del series["plug-plus"], series["plug-minus"]
    read = analyse(series, holds, unseen=USUAL, on_supply=on_supply, fitted_pack=FITTED)
    return {finding.id: finding for finding in read.findings}


def holds_truth(finding: Finding, truth: float) -> bool:
    assert finding.low is not None
    assert finding.high is not None
    return finding.low <= truth <= finding.high


def test_the_plug_is_taken_off_where_it_is_measured() -> None:
    apart, whole = told()["pack-resistance"], told(sensed=False)["pack-resistance"]
    assert holds_truth(apart, 1e3 * (PACK_OHM + LEADS_OHM))
    assert holds_truth(whole, 1e3 * (PACK_OHM + LEADS_OHM + 0.006))
    assert apart.value is not None
    assert whole.value is not None
    assert whole.value - apart.value == pytest.approx(6.0, abs=0.1)
    assert "the plug taken off" in apart.sentence
    assert "with leads and plug" in whole.sentence


def test_the_current_to_the_floor_is_ohms_law_on_the_plants_pack() -> None:
    found = told()["pack-floor-current"]
    # 3 cells at 4.19 V, full, less the little that was drawn before it.
    truth_a = (3 * 4.19 - FITTED.floor_v) / (PACK_OHM + LEADS_OHM + 0.006)
    assert holds_truth(found, truth_a)
    assert any("extrapolated" in caution for caution in found.cautions)
    assert "the 33.75 A that its printed rate claims" in found.sentence


def test_of_a_bench_supply_nothing_is_said() -> None:
    assert "pack-resistance" not in told(on_supply=True)
    assert "pack-floor-current" not in told(on_supply=True)
