"""Medians of a few values, held against the standard library's `statistics.median`."""

from statistics import median

from hypothesis import given
from hypothesis import strategies as st

from roewatch.judging.median import median_of, median_of_five, median_of_three

_few = st.integers(-3, 3).map(float) | st.floats(-1e6, 1e6)  # equal ones often


@given(st.tuples(_few, _few, _few))
def test_the_median_of_three_is_the_standard_librarys(values: tuple[float, float, float]) -> None:
    assert median_of_three(*values) == median(values)


@given(st.tuples(_few, _few, _few, _few, _few))
def test_the_median_of_five_is_the_standard_librarys(
    values: tuple[float, float, float, float, float],
) -> None:
    assert median_of_five(*values) == median(values)


@given(st.lists(_few, min_size=1, max_size=9))
def test_the_median_of_any_is_the_standard_librarys(values: list[float]) -> None:
    assert median_of(values) == median(values)
