"""What a species sheet says of spawning, development and first food."""

from pathlib import Path

import pytest

from roewatch.room.species import Care, Daytime, Food
from roewatch.service.settings.document import document_of
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.species import read_sheets, sheet_of

SHEETS = read_sheets(shipped_config() / "species").by_id


def faults(text: str) -> str:
    document = document_of('latin = "A b"\n[sources]\ncp = "common practice"\n' + text, "s.toml")
    sheet_of(document, "s")
    return "\n".join(str(fault) for fault in document.faults)


@pytest.mark.parametrize("species", sorted(SHEETS))
def test_every_shipped_sheet_says_how_it_spawns_and_what_its_young_take(species: str) -> None:
    sheet = SHEETS[species]
    assert sheet.spawning is not None
    assert sheet.spawning.source
    assert sheet.foods
    assert all(span.source for span in sheet.foods)
    assert min(span.from_d for span in sheet.foods) == 0


def test_the_care_is_what_the_sources_say() -> None:
    # "the female guards", Apistogramma article; "the male guards", T. pumila report; "both guard",
    # ram page; neon "evening or dawn", cardinal "at night in the dark", zebrafish "at lights on"
    def care(species: str) -> Care:
        spawning = SHEETS[species].spawning
        assert spawning is not None
        return spawning.care

    def when(species: str) -> tuple[Daytime, ...]:
        spawning = SHEETS[species].spawning
        assert spawning is not None
        return spawning.when

    assert care("apistogramma-cacatuoides") is Care.FEMALE
    assert care("trichopsis-pumila") is Care.MALE
    assert care("mikrogeophagus-ramirezi") is Care.PAIR
    assert care("trigonostigma-heteromorpha") is Care.NONE
    assert when("paracheirodon-innesi") == (Daytime.DAWN, Daytime.DUSK)
    assert when("paracheirodon-axelrodi") == (Daytime.NIGHT,)
    assert when("danio-rerio") == (Daytime.DAWN,)


def test_small_mouths_begin_with_protozoa_and_large_ones_with_nauplii() -> None:
    first = {s: {f.what for f in SHEETS[s].foods if f.from_d == 0} for s in SHEETS}
    assert first["boraras-brigittae"] == {Food.PROTOZOA}
    assert first["apistogramma-agassizii"] == {Food.ARTEMIA}
    assert first["corydoras-aeneus"] == {Food.ARTEMIA, Food.MICROWORM}


FOOD = '[[food]]\nwhat = "protozoa"\nfrom_d = 0\nto_d = 9\nbasis = "common practice"\n'
WRONG = [
    (FOOD, "source"),
    (FOOD + 'source = "XY"\n', "'XY' is not listed"),
    (FOOD.replace("protozoa", "brine") + 'source = "cp"\n', "no live food"),
    (FOOD.replace("to_d = 9", "to_d = 0.0") + 'source = "cp"\n', "to_d"),
    ('[spawning]\nwhen = ["noon"]\ncare = "none"\nbasis = "published"\nsource = "cp"\n', "noon"),
    ('[spawning]\nwhen = ["dawn"]\ncare = "aunt"\nbasis = "published"\nsource = "cp"\n', "aunt"),
    ('[relative]\nlike = "x"\nbasis = "assumed"\n', "source"),
]


@pytest.mark.parametrize(("text", "said"), WRONG)
def test_a_wrong_entry_is_refused_with_its_place(text: str, said: str) -> None:
    assert said in faults(text)


def test_a_relative_that_is_no_sheet_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a-b.toml").write_text(
        'latin = "A b"\n[sources]\nm = "from memory"\n'
        '[relative]\nlike = "paracheirodon-inessi"\nbasis = "assumed"\nsource = "m"\n'
    )
    found = read_sheets(shipped_config() / "species", tmp_path).faults
    assert [fault for fault in found if "paracheirodon-innesi" in str(fault)]
