"""The program killed and frozen in the middle; a part of ``tests.campaign.kills``."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.campaign.kills import PLUGGED_S, WALKED_S, WAYS, Case, draw, judge, table

pytestmark = [pytest.mark.endtoend, pytest.mark.timeout(180)]

AT_ONCE = 2


@pytest.mark.slow
def test_six_ways_while_it_spins_or_is_about_to() -> None:
    # Where the motor turns for the plan, each a little later than the one before.
    cases = [
        Case(number, way, PLUGGED_S + 4.2 + 0.2 * number, 0.9)
        for number, way in enumerate(w for w in WAYS if w.name != "both killed")
    ]
    assert len(cases) == 6
    with ThreadPoolExecutor(AT_ONCE) as pool:
        verdicts = list(pool.map(judge, cases))
    assert [v for v in verdicts if v.broken] == []
    # A machine that is held up ends some of them before; not all of them.
    struck = [v for v in verdicts if v.state != "over"]
    assert struck, table(verdicts)
    assert all(v.records > 1000 for v in struck)


def test_a_seed_is_a_case_and_the_ways_take_turns() -> None:
    assert draw(11) == draw(11)
    assert {draw(seed).way for seed in range(len(WAYS))} == set(WAYS)
    assert any(PLUGGED_S < draw(seed).after_s < WALKED_S for seed in range(9))
