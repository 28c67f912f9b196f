"""Own broods: they draw the sheet's figures towards them by honest weights, within a species."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.breeding.rearing import EIGHT, Attempt, developments

from roewatch.breeding.development import CannotSay, Development, Leg
from roewatch.breeding.own import OwnLeg, mixed, own_leg
from roewatch.breeding.record import BroodAct
from roewatch.breeding.temperatures import Temperatures
from roewatch.room.moment import HOUR_MS


def sheet(species: str = "trigonostigma-heteromorpha", leg: Leg = Leg.HATCH) -> Development:
    found = developments(species)[leg]
    assert not isinstance(found, CannotSay)
    return found


def hatched(hours: float, celsius: float = 26.5, species: str = "trigonostigma-heteromorpha",
            n: int = 1) -> list[OwnLeg]:  # fmt: skip
    return [
        OwnLeg(brood=f"b{i}", species=species, leg=Leg.HATCH, hours=hours, celsius=celsius)
        for i in range(n)
    ]


def likely_h(development: Development, celsius: float = 26.5) -> float:
    course = development.courses[0]
    return course.likely / (celsius - course.zero_celsius)


def width(development: Development) -> float:
    return development.courses[0].latest / development.courses[0].soonest


def test_without_own_broods_the_sheet_stands_unchanged() -> None:
    assert mixed(sheet(), []) is sheet() or mixed(sheet(), []) == sheet()


def test_own_broods_draw_the_middle_by_their_weight() -> None:
    # the harlequin's sheet is assumed and weighs one brood: 27 h and one of 33 h meet at √(27·33)
    assert likely_h(sheet()) == pytest.approx(27.0)
    assert likely_h(mixed(sheet(), hatched(33))) == pytest.approx((27 * 33) ** 0.5, rel=1e-6)
    # with three of them (27·33³)^(1/4)
    three = likely_h(mixed(sheet(), hatched(33, n=3)))
    assert three == pytest.approx((27 * 33**3) ** 0.25, rel=1e-6)


def test_the_weights_are_told_in_words() -> None:
    why = mixed(sheet(), hatched(33, n=3)).why
    assert why.startswith("your own 3 broods weigh 3 of 4 and the sheet 1 of 4; the sheet says: ")
    assert mixed(sheet(), hatched(33)).why.startswith("your own 1 brood weighs 1 of 2")


def test_a_published_law_yields_less_than_an_assumed_one() -> None:
    neon = sheet("paracheirodon-innesi")
    own = hatched(33, 26.0, "paracheirodon-innesi")
    assert neon.weight > sheet().weight
    assert "the sheet 4 of 5" in mixed(neon, own).why


def test_another_species_or_leg_never_counts() -> None:
    assert mixed(sheet(), hatched(33, species="trigonostigma-espei")) == sheet()
    swimming = sheet(leg=Leg.SWIMMING)
    assert mixed(swimming, hatched(33)) == swimming


def test_broods_that_agree_narrow_the_window_and_one_that_does_not_widens_it() -> None:
    free = sheet(leg=Leg.SWIMMING)
    alike = [
        OwnLeg(brood=f"b{i}", species=free.species, leg=Leg.SWIMMING, hours=80, celsius=26.5)
        for i in range(6)
    ]
    assert width(mixed(free, alike)) < width(free) / 2
    odd = OwnLeg(brood="odd", species=free.species, leg=Leg.SWIMMING, hours=170, celsius=26.5)
    assert width(mixed(free, [*alike, odd])) > width(mixed(free, alike))


@given(st.lists(st.floats(18, 60), min_size=1, max_size=40))
def test_the_middle_lies_between_the_sheet_and_the_own_broods(hours: list[float]) -> None:
    own = [one for each in hours for one in hatched(each)]
    found = mixed(sheet(), own)
    low, high = min(27.0, *hours), max(27.0, *hours)
    assert low * 0.999999 <= likely_h(found) <= high * 1.000001
    course = found.courses[0]
    assert course.soonest < course.likely < course.latest


def test_warmth_is_reckoned_out_before_broods_are_compared() -> None:
    # a brood at 24 °C that took longer only because it was cooler says what the sheet says
    course = sheet().courses[0]
    cool = course.likely / (24.0 - course.zero_celsius)
    assert likely_h(mixed(sheet(), hatched(cool, 24.0, n=5))) == pytest.approx(27.0)


def measured(hours: float) -> Temperatures:
    every = 10 * 60_000
    at_ms = tuple(range(EIGHT, EIGHT + round(hours * HOUR_MS) + 1, every))
    return Temperatures(at_ms=at_ms, celsius=(26.0,) * len(at_ms), ahead=26.0)


def test_a_brood_says_something_only_of_legs_that_were_recorded_and_measured() -> None:
    attempt = Attempt("trigonostigma-heteromorpha").tell(BroodAct.SPAWNED, 0)
    assert own_leg(attempt.brood, Leg.HATCH, measured(40)) is None
    attempt.tell(BroodAct.HATCHED, 30)
    found = own_leg(attempt.brood, Leg.HATCH, measured(40))
    assert found is not None
    assert found.hours == 30
    assert found.celsius == pytest.approx(26.0)
    assert own_leg(attempt.brood, Leg.HATCH, measured(10)) is None
    assert own_leg(attempt.brood, Leg.HATCH, None) is None
    assert own_leg(attempt.brood, Leg.SWIMMING, measured(40)) is None
