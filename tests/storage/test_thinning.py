"""Thinning: at most so many points, and never one peak fewer."""

from hypothesis import given
from hypothesis import strategies as st

from roewatch.storage.thinning import Columns, believed, thinned

POINTS = st.lists(
    st.tuples(
        st.integers(0, 999), st.floats(-5, 90, allow_nan=False), st.sampled_from([1, 1, 1, 3, 4])
    ),
    unique_by=lambda point: point[0],
    min_size=1,
).map(sorted)


def _thinned(points: list[tuple[int, float, int]], columns: int) -> list[tuple[int, float, int]]:
    whole = Columns(*([list(column) for column in zip(*points, strict=True)]))
    return list(zip(*thinned(whole, [1000 * i // columns for i in range(1, columns)]), strict=True))


@given(POINTS, st.integers(1, 20))
def test_what_is_left_was_there_and_is_in_order(
    points: list[tuple[int, float, int]], columns: int
) -> None:
    left = _thinned(points, columns)
    assert left == sorted(left)
    assert set(left) <= set(points)
    assert len(left) <= 8 * columns


@given(POINTS, st.integers(1, 20))
def test_each_column_keeps_its_lowest_and_highest_believed_reading(
    points: list[tuple[int, float, int]], columns: int
) -> None:
    left = _thinned(points, columns)
    for column in range(columns):
        start, end = 1000 * column // columns, 1000 * (column + 1) // columns
        inside = [v for at, v, flag in points if start <= at < end and believed(flag)]
        shown = [v for at, v, flag in left if start <= at < end and believed(flag)]
        if inside:
            assert (min(shown), max(shown)) == (min(inside), max(inside))


def test_a_sensors_error_code_neither_hides_a_peak_nor_passes_for_one() -> None:
    water = [(at, 24.0 + at / 1000, 1) for at in range(0, 900, 10)]
    left = _thinned(sorted([*water, (455, 85.0, 4)]), 1)
    assert (455, 85.0, 4) in left
    assert (890, 24.89, 1) in left


def test_few_points_are_left_as_they_are() -> None:
    points = [(at, 24.0, 1) for at in range(8)]
    assert _thinned(points, 2) == points
