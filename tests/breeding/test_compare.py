"""Comparisons of broods: honest intervals, no verdict from a few, the clutch as the unit."""

import random
from dataclasses import replace

import pytest
from scipy import stats
from tests.breeding.invented import clutch, invented, invented_records
from tests.breeding.rearing import Attempt

from roewatch.breeding.brood import brood_of
from roewatch.breeding.compare import (
    LEAST_BROODS,
    Attempted,
    Comparison,
    Factor,
    compared,
    overdispersion,
)
from roewatch.breeding.count import Counted
from roewatch.breeding.interval import student, wilson
from roewatch.breeding.record import BroodAct
from roewatch.breeding.tally import Success, Tally, tally

# Student's t, 0.975 quantile: printed in any statistical table
PRINTED = [(1, 12.706), (2, 4.303), (3, 3.182), (5, 2.571), (10, 2.228), (30, 2.042)]


@pytest.mark.parametrize(("freedom", "printed"), PRINTED)
def test_students_t_is_the_one_in_print(freedom: int, printed: float) -> None:
    assert student(freedom, 0.025) == pytest.approx(printed, abs=0.0005)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 8, 25, 120, 999, 5000])
@pytest.mark.parametrize("tail", [0.1, 0.025, 0.001, 0.025 / 66])
def test_students_t_is_scipys(freedom: int, tail: float) -> None:
    near = 1e-6 if freedom <= 1000 else 2e-3  # beyond, the normal distribution stands for it
    assert student(freedom, tail) == pytest.approx(stats.t.ppf(1 - tail, freedom), rel=near)


@pytest.mark.parametrize(("hits", "trials"), [(0, 10), (3, 10), (10, 10), (72, 100), (1, 500)])
def test_wilsons_interval_is_scipys(hits: int, trials: int) -> None:
    ours = wilson(hits / trials, trials, stats.norm.ppf(0.975))
    theirs = stats.binomtest(hits, trials).proportion_ci(method="wilson")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_the_interval_of_a_difference_is_the_printed_one() -> None:
    # Newcombe 1998, table II, method 10: 56/70 against 48/80 gives 0.0524 to 0.3339 (from memory)
    one, other = (wilson(h / n, n, 1.959964) for h, n in ((56, 70), (48, 80)))
    low = 0.2 - ((0.8 - one.low) ** 2 + (other.high - 0.6) ** 2) ** 0.5
    high = 0.2 + ((one.high - 0.8) ** 2 + (0.6 - other.low) ** 2) ** 0.5
    assert (low, high) == pytest.approx((0.0524, 0.3339), abs=5e-5)


def broods(*waters: tuple[str, int, int]) -> list[Attempted]:
    """One brood for each water, eggs and hatched."""
    found = []
    for number, (water, eggs, hatched) in enumerate(waters):
        records = invented_records(number, random.Random(number), {water: 0.5})
        exact = [
            replace(r, count=replace(r.count, low=n, high=n, about=False))
            if r.count and (n := {BroodAct.SPAWNED: eggs, BroodAct.HATCHED: hatched}.get(r.act))
            else r
            for r in records
        ]
        found.append(Attempted(brood=brood_of(exact[0].brood, exact), celsius=26.0))
    return found


def by_water(attempts: list[Attempted]) -> Comparison:
    return compared(attempts, Factor.WATER, Success.HATCHED)


def test_three_broods_conclude_nothing_however_far_apart_they_are() -> None:
    found = by_water(broods(("rain", 100, 95), ("rain", 100, 97), ("tap", 100, 5)))
    assert not found.concluded
    assert "Too few broods to conclude anything" in found.verdict
    assert "3 more of rain" in found.verdict
    assert "4 more of tap" in found.verdict
    assert "may be chance" in found.verdict


def test_a_group_of_one_brood_has_no_interval() -> None:
    found = by_water(broods(("rain", 100, 95), ("rain", 100, 97), ("tap", 100, 5)))
    shares = {group.name: group.share for group in found.groups}
    assert shares["tap"] is None
    assert shares["rain"] is not None


def test_two_broods_that_agree_by_luck_still_have_a_wide_interval() -> None:
    (rain,) = by_water(broods(("rain", 60, 42), ("rain", 60, 42))).groups
    assert rain.share is not None
    assert rain.share.high - rain.share.low > 0.5


def test_500_broods_tell_the_truth_they_were_made_with() -> None:
    found = by_water(invented(500))
    assert found.concluded
    assert "rain and peat gave more than tap 1:2" in found.verdict
    assert "RO 1:4 gave more than tap 1:2" in found.verdict
    assert "rain and peat gave more than RO" not in found.verdict
    for group in found.groups:
        assert group.share is not None
        truth = {"rain and peat": 0.72, "RO 1:4": 0.72, "tap 1:2": 0.45}[group.name]
        assert group.share.low < truth < group.share.high
    # eggs of one clutch are alike by 0.1 and clutches hold 115 on the mean: 1 + 114 x 0.1 = 12.4
    assert 9 < found.overdispersion < 17


@pytest.mark.parametrize("factor", [Factor.FOOD, Factor.PARENTS, Factor.TEMPERATURE])
def test_500_broods_show_nothing_where_nothing_is(factor: Factor) -> None:
    found = compared(invented(500), factor, Success.HATCHED)
    assert not found.concluded
    assert "No difference is shown" in found.verdict


def test_where_nothing_is_a_verdict_is_rare_though_eggs_alone_would_give_one_often() -> None:
    # 400 inventions of 2 x 8 clutches without any difference; 5 in 100 may be told wrongly
    chance = random.Random(7)
    wrong = naive = 0
    for _ in range(400):
        sides = [
            [
                Tally(brood=f"{i}", of_low=n, of_high=n, low=x, high=x)
                for i in range(8)
                if (n := chance.randint(30, 200)) and (x := clutch(chance, n, 0.6)) >= 0
            ]
            for _ in range(2)
        ]
        spread, freedom = overdispersion(sides)
        tests = [(spread, student(freedom, 0.025)), (1.0, 1.96)]
        apart = []
        for each, quantile in tests:
            ends = []
            for side in sides:
                trials = sum(t.trials for t in side)
                value = sum(t.low for t in side) / trials
                ends.append((value, wilson(value, trials / each, quantile)))
            (a, one), (b, other) = sorted(ends, key=lambda end: -end[0])
            below = ((a - one.low) ** 2 + (other.high - b) ** 2) ** 0.5
            apart.append(a - b - below > 0)
        wrong, naive = wrong + apart[0], naive + apart[1]
    assert wrong <= 32  # 8 in 100: the 5 that are meant, and three standard deviations of chance
    assert naive > 120  # counting eggs instead of clutches would tell a difference in every third


def test_a_clear_difference_is_found_with_a_dozen_broods_of_each() -> None:
    found = sum(
        by_water(invented(24, seed, {"rain": 0.75, "tap": 0.4})).concluded for seed in range(40)
    )
    assert found >= 36


def test_a_group_too_small_is_left_out_of_the_verdict_and_told() -> None:
    some = invented(40, 3, {"rain": 0.8, "tap": 0.3})
    odd = broods(("well", 50, 50))
    found = by_water([*some, *odd])
    assert found.concluded
    assert f"Left out for having fewer than {LEAST_BROODS}: 1." in found.verdict
    assert "well" not in found.verdict.partition("Left out")[0]


def test_counts_that_are_ranges_widen_the_interval() -> None:
    exact = broods(*[("rain", 100, 60)] * 6)
    ranged = []
    for attempt in exact:
        counts = dict(attempt.brood.counts)
        counts = {
            k: replace(c, low=max(c.low - 10, 0), high=c.high + 10) for k, c in counts.items()
        }
        ranged.append(replace(attempt, brood=replace(attempt.brood, counts=counts)))
    (narrow,) = by_water(exact).groups
    (wide,) = by_water(ranged).groups
    assert narrow.share is not None
    assert wide.share is not None
    assert wide.share.low < narrow.share.low < narrow.share.high < wide.share.high


def test_several_species_are_not_thrown_together() -> None:
    some = invented(6)
    other = replace(some[0], brood=replace(some[0].brood, species="danio-rerio"))
    with pytest.raises(ValueError, match="2 species cannot be compared; choose one"):
        by_water([*some, other])


def test_what_differs_together_is_said() -> None:
    found = by_water(
        [
            replace(a, celsius=25.0 if a.brood.water == "rain" else 28.0)
            for a in invented(40, 3, {"rain": 0.8, "tap": 0.3})
        ]
    )
    assert "the groups differ in temperature just as they do in water" in found.mixed_up[0]


def test_a_brood_that_says_nothing_is_named_with_the_reason() -> None:
    some = invented(8)
    silent = replace(some[0], brood=replace(some[0].brood, counts={}))
    found = by_water([silent, *some[1:]])
    assert found.left_out == {silent.brood.id: "what it is a share of was not counted"}


def test_a_lost_brood_counts_as_none_of_what_it_did_not_reach() -> None:
    # leaving the lost ones out would flatter the water they were lost in
    lost = Attempt("danio-rerio").tell(BroodAct.SPAWNED, 0, count="80")
    assert tally(lost.brood, Success.HATCHED) == "not counted"
    lost.tell(BroodAct.ENDED, 60, outcome="lost")
    found = tally(lost.brood, Success.HATCHED)
    assert isinstance(found, Tally)
    assert (found.low, found.high, found.of_low) == (0, 0, 80)
    given_up = Attempt("danio-rerio").tell(BroodAct.SPAWNED, 0, count="80")
    given_up.tell(BroodAct.ENDED, 60, outcome="given-up")
    assert tally(given_up.brood, Success.HATCHED) == "not counted"


def test_fertilised_are_the_eggs_less_the_white_ones_of_the_first_day() -> None:
    attempt = Attempt("danio-rerio").tell(BroodAct.SPAWNED, 0, count="80")
    attempt.tell(BroodAct.COUNTED, 24, counted=Counted.WHITE, count="10-14")
    attempt.tell(BroodAct.COUNTED, 48, counted=Counted.WHITE, count="7")
    found = tally(attempt.brood, Success.FERTILISED)
    assert isinstance(found, Tally)
    assert (found.low, found.high) == (66, 70)


def test_counts_that_contradict_one_another_are_left_out() -> None:
    attempt = Attempt("danio-rerio").tell(BroodAct.SPAWNED, 0, count="40")
    attempt.tell(BroodAct.HATCHED, 60, count="55")
    assert tally(attempt.brood, Success.HATCHED) == "more hatched than there were: 55 of 40"
