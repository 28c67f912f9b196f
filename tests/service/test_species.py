"""Species sheets: every number has its source, the shipped ones say what the trade notes say."""

from collections import Counter
from itertools import pairwise

import pytest

from roewatch.room.quantity import Quantity
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import YOUNG, Stage
from roewatch.room.window import Basis
from roewatch.service.settings.document import document_of
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.species import counted, read_sheets, sheet_of, sources_of

FOLDER = shipped_config() / "species"
SHEETS = read_sheets(FOLDER)
T, PH, US = Quantity.TEMPERATURE, Quantity.PH, Quantity.CONDUCTIVITY
H, S, E, L, F = Stage.HOLDING, Stage.SPAWNING, Stage.EGGS, Stage.LARVAE, Stage.FRY

ROOM_AND_HARLEQUIN = [
    "boraras-brigittae",
    "nannostomus-marginatus",
    "danio-margaritatus",
    "hyphessobrycon-pulchripinnis",
    "apistogramma-cacatuoides",
    "corydoras-paleatus",
    "trichopsis-pumila",
    "trigonostigma-heteromorpha",
]


def sheet(text: str) -> SpeciesSheet | list[str]:
    """The sheet `text` makes, or what is wrong with it."""
    document = document_of(text, "s.toml")
    found = sheet_of(document, "s")
    return found if found is not None else [str(fault) for fault in document.faults]


def test_more_than_twenty_species_ship_and_none_has_a_fault() -> None:
    assert SHEETS.faults == []
    assert len(SHEETS.by_id) >= 20
    assert set(ROOM_AND_HARLEQUIN) <= set(SHEETS.by_id)


PUBLISHED = [  # species, stage, quantity, low, high, source as the trade notes' table names it
    ("danio-margaritatus", H, T, 22, 26, "celestial pearl danio page"),
    ("danio-margaritatus", H, PH, 6.5, 7.5, "celestial pearl danio page"),
    ("danio-margaritatus", S, T, 23, 25, "common practice"),
    ("boraras-brigittae", H, T, 20, 28, "B. brigittae data sheet"),
    ("boraras-brigittae", H, PH, 4.0, 7.0, "B. brigittae data sheet"),
    ("boraras-brigittae", L, PH, 5, 6, "common practice"),
    ("boraras-brigittae", E, US, 20, 80, "common practice"),
    ("nannostomus-trifasciatus", H, PH, 4.0, 7.5, "N. trifasciatus species article"),
    ("nannostomus-marginatus", F, T, 26, 28, "common practice"),
    ("hyphessobrycon-pulchripinnis", S, T, 22, 28, "lemon tetra"),
    ("apistogramma-cacatuoides", H, PH, 5.5, 6.8, "Apistogramma fact page, 2017"),
    ("apistogramma-cacatuoides", S, T, 25, 28, "temperature and fertility in Apistogramma"),
    ("corydoras-paleatus", H, T, 19, 26, "Encyclopedia of Aquarium and Pond Fish"),
    ("trichopsis-pumila", S, PH, 5.5, 7.0, "T. pumila page"),
    ("paracheirodon-innesi", E, T, 24, 26, "incubation period and hatching success of neon tetra"),
    ("paracheirodon-axelrodi", S, US, 15, 20, "Aquarium Atlas"),
    ("danio-rerio", H, T, 26, 28.5, "humane endpoints"),
    ("mikrogeophagus-ramirezi", H, T, 25.5, 29.5, "ram cichlid encyclopedia article"),
    ("trichogaster-lalius", S, T, 29, 30, "dwarf gourami"),
    ("puntius-titteya", S, PH, 6.0, 6.5, "Danish fish encyclopedia"),
    ("trigonostigma-heteromorpha", S, PH, 5.3, 6.5, "our own joining"),
]


@pytest.mark.parametrize(("species", "stage", "quantity", "low", "high", "source"), PUBLISHED)
def test_a_window_is_the_one_its_source_gives(
    species: str, stage: Stage, quantity: Quantity, low: float, high: float, source: str
) -> None:
    window = SHEETS.by_id[species].window(stage, quantity)
    assert window is not None
    assert (window.low, window.high) == (low, high)
    assert source in window.source


@pytest.mark.parametrize("species", SHEETS.by_id)
def test_every_stage_has_a_temperature_window_or_is_honestly_without(species: str) -> None:
    found = SHEETS.by_id[species]
    for stage in Stage:
        window = found.window(stage, T)
        if window is None:  # only where the notes have no holding row
            assert species == "hyphessobrycon-eques"
        else:
            # no tropical fish here lives outside these; catches a slip of the pen
            assert (window.low or 15) >= 15
            assert (window.high or 31) <= 31
        ph = found.window(stage, PH)
        assert ph is None or ((ph.low or 4) >= 4 and (ph.high or 8.5) <= 8.5)


@pytest.mark.parametrize("species", SHEETS.by_id)
def test_the_young_are_never_allowed_more_change_than_adults(species: str) -> None:
    found = SHEETS.by_id[species]
    for quantity in (T, PH, US):
        grown = {limit.span_ms: limit for limit in found.rate_limits(S, quantity)}
        for stage in YOUNG:
            for limit in found.rate_limits(stage, quantity):
                assert limit.rise <= grown[limit.span_ms].rise
                assert limit.fall <= grown[limit.span_ms].fall


@pytest.mark.parametrize("species", SHEETS.by_id)
def test_falling_is_never_allowed_more_than_rising_and_a_day_no_less_than_an_hour(
    species: str,
) -> None:
    found = SHEETS.by_id[species]
    for stage in Stage:
        for quantity in Quantity:
            limits = sorted(found.rate_limits(stage, quantity), key=lambda limit: limit.span_ms)
            assert all(limit.fall <= limit.rise for limit in limits)
            assert all(a.fall <= b.fall and a.rise <= b.rise for a, b in pairwise(limits))


def test_rates_are_those_of_the_trade_notes() -> None:
    found = SHEETS.by_id["danio-margaritatus"]
    hour, day = found.rate_limits(H, T)
    assert (hour.rise, hour.fall, hour.basis) == (1.0, 1.0, Basis.COMMON_PRACTICE)
    assert (day.rise, day.fall) == (3.0, 2.0)
    assert "up 2, down 1 (Maintenance of water quality for healthy fish" in day.source
    hour, day = found.rate_limits(E, T)
    assert (hour.fall, day.fall) == (0.5, 1.0)
    assert [limit.fall for limit in found.rate_limits(F, PH)] == [0.2]
    assert [limit.fall for limit in found.rate_limits(H, PH)] == [0.5]


@pytest.mark.parametrize("species", SHEETS.by_id)
def test_every_number_says_how_well_it_is_founded(species: str) -> None:
    found = SHEETS.by_id[species]
    windows = [w for by_quantity in found.windows.values() for w in by_quantity.values()]
    limits = [r for by in found.rates.values() for several in by.values() for r in several]
    founded = [(number.source, number.basis) for number in windows]
    founded += [(number.source, number.basis) for number in limits]
    founded += [(number.source, number.basis) for number in found.hatch]
    for source, basis in founded:
        assert source
        assert basis is not Basis.KEEPER


def test_where_sources_disagree_all_are_kept_and_the_choice_is_marked() -> None:
    window = SHEETS.by_id["danio-margaritatus"].window(H, T)
    assert window is not None
    assert "chosen: " in window.source
    assert "others say 20-25 (celestial pearl danio page, first of two" in window.source
    spawning = SHEETS.by_id["trigonostigma-heteromorpha"].window(S, PH)
    assert spawning is not None
    for other in ("about 6.4", "5.3-5.7", "about 5.5", "about 6 "):
        assert other in spawning.source


HATCH = [  # species, °C, hours from spawning, source: as the trade notes' section 5 reads them
    ("paracheirodon-innesi", 26, 24, 26),
    ("paracheirodon-innesi", 18, 38, 40),
    ("gymnocorymbus-ternetzi", 24, 20, 21),
    ("hyphessobrycon-eques", 28, 16, 16),
    ("danio-rerio", 28.5, 48, 72),
]


@pytest.mark.parametrize(("species", "celsius", "from_h", "to_h"), HATCH)
def test_hatch_facts_are_the_published_points(
    species: str, celsius: float, from_h: float, to_h: float
) -> None:
    points = [
        (fact.celsius, fact.from_h, fact.to_h)
        for fact in SHEETS.by_id[species].hatch
        if fact.what == "hatch" and fact.basis is Basis.PUBLISHED
    ]
    assert (celsius, from_h, to_h) in points


def test_the_harlequins_hatch_is_marked_assumed() -> None:
    assert {fact.basis for fact in SHEETS.by_id["trigonostigma-heteromorpha"].hatch} == {
        Basis.ASSUMED
    }


# -- how a sheet is read ------------------------------------------------------------------------

SMALL = """
latin = "Invented"
[sources]
A = "a book, 1999"
B = "another, 2001"
[same_as]
eggs = "spawning"
[windows.holding]
ph = { low = 5, high = 7, basis = "published", source = "A" }
temperature = { low = 22, basis = "published", source = ["A", "B"], others = [
  { about = 23.5, basis = "from memory", source = "B" },
], why = "the book was there first" }
[windows.spawning]
ph = { low = 5, high = 6, basis = "assumed", source = "A" }
[windows.eggs]
temperature = { low = 24, high = 25, basis = "common practice", source = "A" }
"""


def test_a_stage_takes_over_another_stages_windows_where_it_has_none() -> None:
    found = sheet(SMALL)
    assert isinstance(found, SpeciesSheet)
    eggs, larvae = found.window(E, PH), found.window(L, PH)
    own = found.window(E, T)
    assert eggs == found.window(S, PH)
    assert larvae == found.window(H, PH)
    assert own is not None
    assert (own.low, own.high) == (24, 25)


def test_sources_are_counted_by_number_and_those_not_chosen_count_too() -> None:
    document = document_of(SMALL, "s.toml")
    assert sources_of(document) == Counter(
        {
            Basis.PUBLISHED: 3,
            Basis.FROM_MEMORY: 1,
            Basis.ASSUMED: 2,
            Basis.COMMON_PRACTICE: 2,
        }
    )
    (row,) = counted({"s": sources_of(document)})
    assert (row["species"], row["published"], row["keeper"]) == ("s", 3, 0)


def test_every_shipped_sheet_is_counted() -> None:
    assert set(SHEETS.counts) == set(SHEETS.by_id)
    assert all(sum(count.values()) > 10 for count in SHEETS.counts.values())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ((', source = "A" }\ntemp', " }\ntemp"), "no source"),
        (('basis = "published", source = "A" }\ntemp', 'source = "A" }\ntemp'), "no basis"),
        (('"published"', '"rumour"'), "'rumour' is not a basis"),
        (('A = "a book, 1999"\n', ""), "source 'A' is not listed under [sources]"),
        (("low = 5, high = 7", "low = 7, high = 5"), "low 7 is not below high 5"),
        (('latin = "Invented"', ""), "no latin name"),
        (('eggs = "spawning"', 'eggs = "eggs"'), "the same as another stage again"),
        (("about = 23.5", "about = 23.5, high = 25"), "about beside low or high"),
        (('source = ["A", "B"]', "source = []"), "must not be empty"),
    ],
)
def test_a_sheet_is_refused_for(change: tuple[str, str], words: str) -> None:
    assert change[0] in SMALL
    told = sheet(SMALL.replace(*change))
    assert isinstance(told, list)
    assert words in "\n".join(told)
