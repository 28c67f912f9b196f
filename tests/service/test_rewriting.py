"""A settings file changed by the program: its own lines only, checked before they count."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.service.settings.rewriting import put, with_entry, with_keys

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
