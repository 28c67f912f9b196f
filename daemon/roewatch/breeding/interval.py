"""An interval: how far a share can be off when it rests on few clutches that differ widely."""

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share and its interval, each 0 to 1."""

    value: float
    low: float
    high: float

    def text(self) -> str:
        """`62 % (48-74)`."""
        return f"{100 * self.value:.0f} % ({100 * self.low:.0f}-{100 * self.high:.0f})"


def wilson(value: float, trials: float, quantile: float) -> Share:
    """The score interval of a share seen in `trials`, which need not be a whole number.

    quantile: of the normal distribution, or Student's t where the spread was itself estimated.
    Source: Wilson, Probable inference, the law of succession, and statistical inference, J. Am.
    Statistical Association 22, 1927 (formula from memory; checked against a library in the tests).
    """
    square = quantile * quantile
    middle = (value + square / (2 * trials)) / (1 + square / trials)
    root = math.sqrt(value * (1 - value) / trials + square / (4 * trials * trials))
    half = quantile * root / (1 + square / trials)
    return Share(value=value, low=max(middle - half, 0.0), high=min(middle + half, 1.0))


@lru_cache(maxsize=256)
def student(freedom: int, tail: float) -> float:
    """Student's t that is exceeded with probability `tail` (0 < tail < 0.5).

    freedom: degrees of freedom, 1 or more. Found by bisection on the distribution's own finite sum.
    Source of the sum: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4
    (from memory; checked against a printed table and a library in the tests).
    """
    if freedom > 1000:
        return NormalDist().inv_cdf(1 - tail)
    low, high = 0.0, 1.0
    while _beyond(high, freedom) > tail:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        if _beyond(middle, freedom) > tail:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _beyond(t: float, freedom: int) -> float:
    """The probability of a larger t."""
    angle = math.atan(t / math.sqrt(freedom))
    square = math.cos(angle) ** 2
    odd = freedom % 2
    term = math.cos(angle) if odd else 1.0
    total = term if freedom > 1 else 0.0
    for step in range(3 if odd else 2, freedom - 1, 2):
        term *= square * (step - 1) / step
        total += term
    inside = 2 / math.pi * (angle + math.sin(angle) * total) if odd else math.sin(angle) * total
    return (1 - inside) / 2
