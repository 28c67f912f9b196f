"""A simplex: shares of a whole, none below nought, adding to one, that miss demands least."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """One linear demand on the shares: sum(weights * shares) = goal, in units of its closeness."""

    weights: tuple[float, ...]
    goal: float


_RIDGE = 1e-9  # just enough to choose among equals


def nearest(rows: Sequence[Demand], count: int) -> list[float]:
    """Shares, none below nought and adding to one, that miss the rows least.

    Every face of the simplex is tried (15 for four sources), so the answer is the true minimum.
    """
    # a lean towards the sources named first, used only to choose among equals
    lean = [1.0 if i == 0 else 0.0 for i in range(count)]
    best: list[float] | None = None
    best_miss = math.inf
    for size in range(1, count + 1):
        for face in combinations(range(count), size):
            shares = _least_squares_on(face, rows, lean, count)
            if shares is None or min(shares) < -1e-12:
                continue
            miss = sum(
                (sum(w * s for w, s in zip(row.weights, shares, strict=True)) - row.goal) ** 2
                for row in rows
            )
            miss += _RIDGE * sum((s - p) ** 2 for s, p in zip(shares, lean, strict=True))
            if miss < best_miss:
                best, best_miss = shares, miss
    assert best is not None  # a single source is always a face
    return [max(share, 0.0) for share in best]


def _least_squares_on(
    face: Sequence[int], rows: Sequence[Demand], lean: Sequence[float], count: int
) -> list[float] | None:
    """Shares on one face that miss least, signs free, adding to one; None if undetermined."""
    n = len(face)
    matrix = [[0.0] * (n + 2) for _ in range(n + 1)]  # the last column is the right-hand side
    for a, i in enumerate(face):
        for b, j in enumerate(face):
            matrix[a][b] = sum(row.weights[i] * row.weights[j] for row in rows)
        matrix[a][a] += _RIDGE
        matrix[a][n] = matrix[n][a] = 1.0
        matrix[a][n + 1] = sum(row.weights[i] * row.goal for row in rows) + _RIDGE * lean[i]
    matrix[n][n + 1] = 1.0
    solved = _eliminated(matrix)
    if solved is None:
        return None
    shares = [0.0] * count
    for a, i in enumerate(face):
        shares[i] = solved[a]
    return shares


def _eliminated(matrix: list[list[float]]) -> list[float] | None:
    """The solution of a small linear system, right-hand side in the last column."""
    n = len(matrix)
    for column in range(n):
        pivot = max(range(column, n), key=lambda r: abs(matrix[r][column]))
        if abs(matrix[pivot][column]) < 1e-14:
            return None
        matrix[column], matrix[pivot] = matrix[pivot], matrix[column]
        for r in range(n):
            if r != column:
                factor = matrix[r][column] / matrix[column][column]
                for c in range(column, n + 1):
                    matrix[r][c] -= factor * matrix[column][c]
    return [matrix[r][n] / matrix[r][r] for r in range(n)]
