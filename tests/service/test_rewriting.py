"""A settings file changed by the program: its own lines only, checked before they count."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from roewatch.service.settings.rewriting import (
    put,
    with_entry,
    with_entry_within,
    with_keys,
    with_sooner,
    without_entry,
    without_keys,
)

SAMPLE = (Path(__file__).parents[2] / "config" / "room.toml").read_text(encoding="utf-8")
TANKS = len(tomllib.loads(SAMPLE)["tank"])


def comments(text: str) -> list[str]:
    return [row.partition("#")[2].strip() for row in text.splitlines() if "#" in row]


@given(
    place=st.integers(0, TANKS - 1),
    values=st.dictionaries(
        st.sampled_from(["rack", "shelf", "place", "species", "litres", "name"]),
        st.one_of(st.text(max_size=20), st.integers(1, 99), st.floats(1, 900), st.booleans()),
        min_size=1,
    ),
)
def test_any_tank_of_the_sample_takes_any_keys_and_nothing_else_changes(
    place: int, values: dict[str, str | int | float | bool]
) -> None:
    written = with_keys(SAMPLE, ("tank", place), values)
    assert written is not None
    meant = tomllib.loads(SAMPLE)
    meant["tank"][place] |= values
    assert tomllib.loads(written) == meant
    assert comments(written) == comments(SAMPLE) or any("#" in str(v) for v in values.values())
    kept = set(SAMPLE.splitlines()) - set(written.splitlines())
    assert len(kept) <= len(values)


@given(st.dictionaries(st.sampled_from(["id", "name", "topic"]), st.text(max_size=30), min_size=1))
def test_an_entry_is_added_at_the_end_whatever_people_call_it(values: dict[str, str]) -> None:
    for text in (SAMPLE, "", "[room]\nname = 'x'"):
        written = with_entry(text, "[[probe]]", values)
        assert written is not None
        assert written.startswith(text)
        assert tomllib.loads(written)["probe"][-1] == values


def test_a_section_is_made_when_it_is_missing_and_filled_where_it_stands() -> None:
    text = '[room]\nname = "The Boathouse"\n'
    once = with_keys(text, ("broker",), {"host": "10.0.0.5"})
    assert once == f'{text}\n[broker]\nhost = "10.0.0.5"\n'
    twice = with_keys(once, ("broker",), {"host": "10.0.0.6", "port": 8883})
    assert twice == f'{text}\n[broker]\nport = 8883\nhost = "10.0.0.6"\n'


def test_a_file_written_in_a_way_of_its_own_is_left_alone() -> None:
    text = 'tank = [{ id = "A1", shelf = 1 }]\n'
    assert with_keys(text, ("tank", 0), {"shelf": 2}) is None
    assert with_keys(text, ("tank", 0), {"rack": "B"}) is None
    assert with_entry(text, "[[tank]]", {"id": "A2"}) is None


def test_the_file_keeps_owner_and_mode_and_a_full_disk_changes_nothing(tmp_path: Path) -> None:
    file = tmp_path / "room.toml"
    file.write_text("old")
    file.chmod(0o640)
    put(file, "new")
    assert file.read_text() == "new"
    assert file.stat().st_mode & 0o777 == 0o640
    (tmp_path / "room.toml.part").mkdir()
    with pytest.raises(OSError, match=r"directory"):
        put(file, "newer")
    assert file.read_text() == "new"


@given(
    place=st.integers(0, 1),
    values=st.dictionaries(st.sampled_from(["name", "url"]), st.text(max_size=20), min_size=1),
)
@example(place=0, values={"name": "next\x85line", "url": "line\u2028separator"})
def test_a_way_is_added_within_its_own_contact_and_can_be_taken_out_again(
    place: int, values: dict[str, str]
) -> None:
    written = with_entry_within(SAMPLE, ("contact", place), "ways", values)
    assert written is not None
    ways = tomllib.loads(written)["contact"][place]["ways"]
    assert ways[-1] == values
    way = ("contact", place, "ways", len(ways) - 1)
    back = without_entry(written, way)
    assert back is not None
    assert tomllib.loads(back) == tomllib.loads(SAMPLE)
    assert [row for row in back.splitlines() if row] == [r for r in SAMPLE.splitlines() if r]
    other = with_keys(written, way, {"timeout": "20 s"})
    assert other is not None
    assert tomllib.loads(other)["contact"][place]["ways"][-1]["timeout"] == "20 s"


def test_an_entry_goes_with_the_comments_in_it_and_without_those_around_it() -> None:
    text = (
        "# people\n[[contact]]  # first\nname = 'A'\n# by night\n[[contact.ways]]\nname = 'p'\n\n"
        "# the other\n[[contact]]\nname = 'B'\n"
    )
    assert without_entry(text, ("contact", 0)) == (
        "# people\n\n# the other\n[[contact]]\nname = 'B'\n"
    )
    assert with_sooner(text, "contact", 1) == (
        "# people\n[[contact]]\nname = 'B'\n\n# the other\n"
        "[[contact]]  # first\nname = 'A'\n# by night\n[[contact.ways]]\nname = 'p'\n"
    )
    last = without_entry("a = 1\n[[contact]]\nname = 'A'\n", ("contact", 0))
    assert last == "a = 1\n"


@given(st.data())
def test_two_neighbours_change_places_and_back_and_nothing_else_moves(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(["tank", "probe", "contact"]))
    entries = tomllib.loads(SAMPLE)[kind]
    at = data.draw(st.integers(1, len(entries) - 1))
    once = with_sooner(SAMPLE, kind, at)
    assert once is not None
    entries[at - 1], entries[at] = entries[at], entries[at - 1]
    assert tomllib.loads(once)[kind] == entries
    assert sorted(once.splitlines()) == sorted(SAMPLE.splitlines())
    assert with_sooner(once, kind, at) == SAMPLE


def test_a_key_is_taken_out_with_its_line() -> None:
    text = '[[contact]]\nname = "A"\n[[contact.ways]]\nname = "p"\nurl_file = "x"  # kept apart\n'
    written = without_keys(text, ("contact", 0, "ways", 0), ["url_file", "url"])
    assert written == '[[contact]]\nname = "A"\n[[contact.ways]]\nname = "p"\n'
    inline = 'contact = [{ name = "A", ways = [{ name = "p", url = "x" }] }]\n'
    assert without_entry(inline, ("contact", 0, "ways", 0)) is None
    assert with_entry_within(inline, ("contact", 0), "ways", {"name": "q"}) is None
    assert without_keys(inline, ("contact", 0, "ways", 0), ["url"]) is None


def test_what_may_hold_a_secret_is_never_open_to_others(tmp_path: Path) -> None:
    file = tmp_path / "room.toml"
    file.write_text("a = 1\n", encoding="utf-8")
    file.chmod(0o640)
    put(file, "a = 2\n")
    assert file.stat().st_mode & 0o777 == 0o640
