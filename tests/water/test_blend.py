"""Blends: what mixes, what does not, and how sure the answer is."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.water import blend, recipe
from roewatch.water.ions import Ions
from roewatch.water.recipe import Wanted
from roewatch.water.refusal import RefusedError
from roewatch.water.source import Makeup, Precision, SourceWater, mixed


def tap(**other: float) -> SourceWater:
    given = {"ph": 7.80, "alkalinity": 3.0, "dgh": 8.4, "celsius": 15.0, "conductivity": 340.0}
    return SourceWater(name="well", **(given | other))  # type: ignore[arg-type]


def ro(**other: float) -> SourceWater:
    given = {"ph": 5.80, "alkalinity": 0.05, "dgh": 0.1, "celsius": 20.0, "conductivity": 8.0}
    return SourceWater(name="RO", **(given | other))  # type: ignore[arg-type]


def rain() -> SourceWater:
    # free acid: pH says nothing about carbon, so it is given by the air
    return SourceWater(
        name="roof rain", alkalinity=-0.02, dgh=0.0, celsius=12.0, conductivity=12.0, pco2=417.0
    )


# litres, closed pH, aired pH at 417 µatm and 25 °C-free mixed temperature, alkalinity meq/L.
# Source: PHREEQC (phreeqc.dat) run on the same three waters: tap Ca 1.2 Mg 0.3 mmol/L.
WORKED = [
    ((50, 50, 0), 7.38, 8.30, 1.525),
    ((25, 75, 0), 7.03, 8.03, 0.788),
    ((10, 90, 0), 6.64, 7.69, 0.345),
    ((10, 0, 90), 7.21, 7.56, 0.282),
    ((15, 40, 45), 7.01, 7.79, 0.461),
]


@pytest.mark.parametrize(("litres", "closed", "aired", "alkalinity"), WORKED)
def test_a_worked_blend_gives_the_ph_phreeqc_gives(
    litres: tuple[float, ...], closed: float, aired: float, alkalinity: float
) -> None:
    made = blend.pour(list(zip(litres, (tap(), ro(), rain()), strict=True)), pco2=417.0)
    assert made.closed.ph == pytest.approx(closed, abs=0.02)
    assert made.aired.ph == pytest.approx(aired, abs=0.015)
    assert made.makeup.alkalinity == pytest.approx(alkalinity, abs=0.001)


makeups = st.builds(
    Makeup,
    celsius=st.floats(2, 32),
    alkalinity=st.floats(-0.05, 6),
    dic=st.floats(0.005, 7),
    ions=st.builds(Ions, calcium=st.floats(0, 3), magnesium=st.floats(0, 1)),
    conductivity=st.floats(1, 900),
)
parts = st.lists(st.tuples(st.floats(0.1, 50), makeups), min_size=2, max_size=4)


@given(parts, st.randoms())
def test_the_order_of_pouring_does_not_matter(
    poured: list[tuple[float, Makeup]], rng: random.Random
) -> None:
    shuffled = list(poured)
    rng.shuffle(shuffled)
    assert mixed(shuffled).closed().ph == pytest.approx(mixed(poured).closed().ph, abs=1e-6)


@given(parts)
def test_pouring_one_by_one_is_pouring_all_at_once(poured: list[tuple[float, Makeup]]) -> None:
    litres, so_far = poured[0]
    for more, makeup in poured[1:]:
        so_far = mixed([(litres, so_far), (more, makeup)])
        litres += more
    together = mixed(poured)
    assert so_far.alkalinity == pytest.approx(together.alkalinity, abs=1e-9)
    assert so_far.closed().ph == pytest.approx(together.closed().ph, abs=1e-6)


@given(makeups, st.floats(50, 5000))
def test_airing_never_changes_alkalinity(makeup: Makeup, pco2: float) -> None:
    assert makeup.aired(pco2=pco2).alkalinity == makeup.alkalinity


def test_acid_rain_loses_its_acid_conductance_in_alkaline_water() -> None:
    # linear mixing would give 0.1 * 340 + 0.9 * 12 = 44.8; 0.02 mmol/L of H+ is 7 µS/cm
    made = blend.pour([(10, tap()), (90, rain())])
    assert made.conductivity == pytest.approx(44.8 - 0.9 * 7.0, abs=0.5)


def test_a_rain_with_free_acid_needs_the_air_and_says_so() -> None:
    acid = SourceWater(name="roof rain", alkalinity=-0.02, ph=4.70, celsius=12.0)
    with pytest.raises(RefusedError, match=r"roof rain: .*CO2 of the air"):
        _ = acid.makeup


def test_the_range_holds_nineteen_of_twenty_random_kits() -> None:
    rng = random.Random(11)
    parts_given = [(10.0, tap()), (30.0, ro())]
    found = blend.ranges(parts_given, pco2=800.0, pco2_share=0.0, celsius=25.0)
    closed = aired = 0
    for _ in range(300):
        drawn = [(litres, _misread(source, rng)) for litres, source in parts_given]
        made = blend.pour(drawn, pco2=800.0, celsius=25.0)
        closed += found.closed_ph.low <= made.closed.ph <= found.closed_ph.high
        aired += found.aired_ph.low <= made.aired.ph <= found.aired_ph.high
    assert closed >= 275
    assert aired >= 275


def _misread(source: SourceWater, rng: random.Random) -> SourceWater:
    p = source.precision
    assert source.ph is not None
    off = p.alkalinity + p.alkalinity_share * source.alkalinity
    return SourceWater(
        name=source.name,
        celsius=source.celsius,
        ph=source.ph + rng.gauss(0, p.ph),
        alkalinity=max(source.alkalinity + rng.gauss(0, off), 0.01),
        dgh=source.dgh,
        conductivity=source.conductivity,
    )


def test_a_sharper_alkalinity_kit_narrows_the_aired_range() -> None:
    rough = blend.ranges([(10, tap()), (90, ro())])
    sharp = blend.ranges(
        [
            (10, tap(precision=Precision(alkalinity=0.002, alkalinity_share=0.02))),  # type: ignore[arg-type]
            (90, ro(precision=Precision(alkalinity=0.002, alkalinity_share=0.02))),  # type: ignore[arg-type]
        ]
    )
    assert sharp.aired_ph.high - sharp.aired_ph.low < rough.aired_ph.high - rough.aired_ph.low


def test_doubt_about_the_rooms_air_widens_both_sides_of_the_aired_ph_only() -> None:
    waters = [(10.0, tap()), (90.0, ro())]
    sure, unsure = (blend.ranges(waters, pco2_share=share) for share in (0.0, 0.3))
    assert unsure.aired_ph.low < sure.aired_ph.low
    assert unsure.aired_ph.high > sure.aired_ph.high
    assert unsure.closed_ph == sure.closed_ph


def test_moving_one_source_lets_the_others_make_room_in_proportion() -> None:
    made = blend.pour([(10, tap()), (30, ro()), (60, rain())])
    other = blend.moved(made, source=0, litres=40)
    assert other.litres == pytest.approx((40, 20, 40))


shares = st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3).filter(lambda s: sum(s) > 0.1)


@settings(max_examples=60, deadline=None)
@given(shares)
def test_a_recipe_finds_any_water_these_sources_can_make(drawn: list[float]) -> None:
    sources = (tap(), ro(), rain())
    made = blend.pour(list(zip(drawn, sources, strict=True)), pco2=800.0, celsius=25.0)
    wanted = Wanted(dgh=made.makeup.dgh, conductivity=made.conductivity)
    found = recipe.find(sources, wanted, litres=60.0, pco2=800.0, celsius=25.0)
    assert found.feasible, found.why_not
    assert sum(found.blend.litres) == pytest.approx(60.0)
    assert min(found.blend.litres) >= 0.0


@settings(max_examples=40, deadline=None)
@given(st.floats(0.02, 0.98), st.booleans())
def test_a_recipe_for_a_ph_gives_that_ph(share: float, closed: bool) -> None:
    sources = (tap(), ro())
    made = blend.pour([(share, tap()), (1 - share, ro())], pco2=800.0, celsius=25.0)
    ph = made.closed.ph if closed else made.aired.ph
    found = recipe.find(
        sources, Wanted(ph=ph, closed=closed), litres=40.0, pco2=800.0, celsius=25.0
    )
    assert found.feasible, found.why_not


def test_a_ph_no_blend_can_hold_against_air_is_refused_with_the_nearest() -> None:
    found = recipe.find((tap(), ro()), Wanted(ph=6.0, dgh=2.0), litres=40.0, celsius=26.0)
    assert not found.feasible
    assert "pH aired 6 lies outside what these waters hold" in found.why_not
    assert "organic acid" in found.why_not
    assert sum(found.blend.litres) == pytest.approx(40.0)


def test_two_wishes_that_exclude_one_another_are_said_so() -> None:
    found = recipe.find((tap(), ro()), Wanted(dgh=4.0, dkh=2.0), litres=40.0)
    assert not found.feasible
    assert "cannot give dGH 4 and dKH 2 together" in found.why_not
