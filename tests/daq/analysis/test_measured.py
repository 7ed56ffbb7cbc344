"""Errors that values share, propagated without anyone keeping book."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.analysis.measured import Measured, Source, combine, effective_dof, t_factor

INF2 = np.full(2, np.inf)


def two(own: tuple[float, float], gain: float) -> Measured:
    value = np.array([10.0, 4.0])
    return Measured(
        value,
        {
            "a random": Source(np.array(own), np.array([9.0, 5.0])),
            "a gain": Source((gain * value)[:, np.newaxis], INF2),
        },
    )


def test_the_covariance_holds_own_parts_on_the_diagonal_and_shared_parts_all_over() -> (
    None
):
    covariance = two((0.3, 0.2), 0.01).covariance()
    assert covariance == pytest.approx(
        np.array([[0.09 + 0.01, 0.004], [0.004, 0.04 + 0.0016]])
    )


def test_a_gain_cancels_in_a_ratio() -> None:
    a = two((0.0, 0.0), 0.01)
    one, other = a.take([0]), a.take([1])
    ratio = one.value / other.value
    found = combine(ratio, [(1 / other.value, one), (-ratio / other.value, other)])
    assert found.standard_uncertainty()[0] == pytest.approx(0.0, abs=1e-15)


def test_a_difference_keeps_what_each_value_has_for_itself() -> None:
    found = two((0.3, 0.4), 0.01).mapped(np.array([[1.0, -1.0]]))
    assert found.value[0] == 6.0
    assert found.variance()[0] == pytest.approx(0.09 + 0.16 + (0.01 * 6.0) ** 2)
    # Welch-Satterthwaite over the two own parts and the gain.
    assert found.dof()[0] == pytest.approx(
        effective_dof([0.3, 0.4, 0.06], [9.0, 5.0, np.inf])
    )


@given(
    st.lists(st.floats(-5, 5), min_size=6, max_size=6),
    st.lists(st.floats(0.1, 2), min_size=3, max_size=3),
)
def test_mapping_is_the_law_of_propagation(
    entries: list[float], own: list[float]
) -> None:
    matrix = np.array(entries).reshape(2, 3)
    value = np.array([1.0, 2.0, 3.0])
    dof = np.full(3, 7.0)
    measured = Measured(
        value,
        {
            "own": Source(np.array(own), dof),
            "shared": Source(np.array([[1.0, 0.5], [0.0, 2.0], [1.0, -1.0]]), dof),
        },
    )
    mapped = measured.mapped(matrix)
    expected = matrix @ measured.covariance() @ matrix.T
    assert mapped.covariance() == pytest.approx(expected, abs=1e-9)


def test_group_means_equal_the_mapped_means_but_stay_independent() -> None:
    value = np.array([1.0, 2.0, 3.0, 5.0])
    dof = np.array([4.0, 6.0, 8.0, 10.0])
    measured = Measured(
        value,
        {
            "own": Source(np.array([0.1, 0.2, 0.3, 0.4]), dof),
            "gain": Source(0.1 * value[:, np.newaxis], np.full(4, np.inf)),
        },
    )
    groups = [np.array([0, 2]), np.array([1, 3])]
    matrix = np.array([[0.5, 0.0, 0.5, 0.0], [0.0, 0.5, 0.0, 0.5]])
    grouped, mapped = measured.grouped(groups), measured.mapped(matrix)
    assert grouped.value == pytest.approx(mapped.value)
    assert grouped.covariance() == pytest.approx(mapped.covariance())
    assert grouped.dof() == pytest.approx(mapped.dof())
    assert not grouped.sources["own"].common


def test_a_source_met_twice_keeps_its_fewest_degrees_of_freedom() -> None:
    one = Measured(np.ones(2), {"x": Source(np.ones(2), np.array([9.0, 3.0]))})
    other = Measured(np.ones(2), {"x": Source(np.ones(2), np.array([5.0, 7.0]))})
    found = combine(np.ones(2), [(np.ones(2), one), (np.ones(2), other)])
    assert found.dof() == pytest.approx([5.0, 3.0])
    assert found.standard_uncertainty() == pytest.approx([2.0, 2.0])


def test_one_name_for_two_kinds_of_source_is_refused() -> None:
    one = Measured(np.ones(2), {"x": Source(np.ones(2), INF2)})
    other = Measured(np.ones(2), {"x": Source(np.ones((2, 1)), INF2)})
    with pytest.raises(ValueError, match='named "x"'):
        combine(np.ones(2), [(np.ones(2), one), (np.ones(2), other)])


def test_no_estimate_means_the_normal_factor() -> None:
    assert effective_dof([1.0, 2.0], [np.inf, np.inf]) == np.inf
    assert float(t_factor(np.inf)) == pytest.approx(1.959963985)
    exact = Measured(np.array([3.0]), {})
    assert [float(limit[0]) for limit in exact.interval()] == [3.0, 3.0]


def test_degrees_of_freedom_never_fall_below_one() -> None:
    assert effective_dof([1.0], [0.3]) == 1.0
