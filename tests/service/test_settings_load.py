"""Loading: environment, secrets, overrides and own sheets; and no text whatever that crashes it."""

import tomllib
from pathlib import Path
from string import printable

import pytest
from hypothesis import example, given
from hypothesis import settings as given_settings
from hypothesis import strategies as st

from roewatch.room.fault import SettingsError
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import DERIVED, Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import Probe
from roewatch.room.window import Basis
from roewatch.service.settings import load
from roewatch.service.settings.document import document_of
from roewatch.service.settings.lines import lines_of
from roewatch.service.settings.load import SECTIONS, Setup, faults_of, load_setup
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.species import read_sheets, sheet_of

PLAIN = """
[room]
name = "Boathouse"
timezone = "Europe/Tallinn"

[[tank]]
id = "A1"
litres = 20.0
species = "boraras-brigittae"

[[probe]]
tank = "A1"
quantity = "temperature"
topic = "b/a1/t"

[[contact]]
name = "Keeper"
ways = [{ name = "phone", url = "http://127.0.0.1:9/keeper?token=pssst" }]
"""


def room(folder: Path, text: str = PLAIN) -> Path:
    file = folder / "room.toml"
    file.write_text(text, encoding="utf-8")
    return file


def loaded(folder: Path, text: str = PLAIN, **env: str) -> Setup:
    return load_setup(room(folder, text), env)


def said(folder: Path, text: str = PLAIN, **env: str) -> list[str]:
    return [str(fault) for fault in faults_of(room(folder, text), env)]


def test_the_least_room_there_can_be_loads(tmp_path: Path) -> None:
    setup = loaded(tmp_path)
    (probe,) = setup.room.probes
    assert (probe.id, probe.every_ms) == ("a1-temperature", 60_000)
    assert setup.broker.client_id == "roewatch-room"
    assert setup.storage.path == tmp_path / "roewatch.sqlite"
    assert setup.web.base == "http://127.0.0.1:8420"
    assert setup.telling.link == setup.web.base
    assert setup.contacts[0].ways == ("Keeper/phone",) == (setup.ways[0].name,)


# -- environment and secrets ------------------------------------------------------------------


def test_the_environment_wins_over_the_file(tmp_path: Path) -> None:
    setup = loaded(
        tmp_path,
        PLAIN + "[broker]\nport = 1884\n",
        ROEWATCH_BROKER__PORT="1885",
        ROEWATCH_BROKER__TLS="true",
        ROEWATCH_ROOM__NAME="Elsewhere",
        ROEWATCH_STORAGE__HOT="3 d",
        ROEWATCH_JUDGING__DEADBAND_CELSIUS="0.3",
        ROEWATCH_TELLING__REMIND_HIGH='["5 min", "1 h"]',
        ROEWATCH_TELLING__WELL_AT="never",
    )
    assert (setup.broker.port, setup.broker.tls) == (1885, True)
    assert setup.room.name == "Elsewhere"
    assert setup.storage.hot_ms == 3 * DAY_MS
    assert setup.limits.deadband_celsius == 0.3
    assert setup.telling.remind_high_ms == (5 * MINUTE_MS, HOUR_MS)
    assert setup.telling.well_at_min is None


def test_other_programs_variables_and_those_without_a_key_are_left_alone(tmp_path: Path) -> None:
    loaded(tmp_path, ROEWATCH_ROOM="x", OTHER__THING="1", roewatch_broker__port="zero")


@pytest.mark.parametrize(
    ("variable", "text", "words"),
    [
        ("ROEWATCH_BROKER__PRT", "1884", "unknown key 'prt'"),
        ("ROEWATCH_BROKR__PORT", "1884", "no section 'brokr'"),
        ("ROEWATCH_BROKER__PORT", "many", "must be a whole number"),
        ("ROEWATCH_BROKER__PORT", "70000", "at most 65535"),
        ("ROEWATCH_STORAGE__HOT", "0 d", "no time at all"),
        ("ROEWATCH_TELLING__REMIND_HIGH", "5 min", "cannot be read as a list"),
        ("ROEWATCH_TANK__A1", "x", "no section 'tank'"),
    ],
)
def test_a_fault_in_the_environment_is_told_by_the_variables_name(
    tmp_path: Path, variable: str, text: str, words: str
) -> None:
    (fault,) = said(tmp_path, **{variable: text})
    assert fault.startswith(f"environment: {variable}: ")
    assert words in fault


def test_one_unreadable_variable_does_not_hide_another(tmp_path: Path) -> None:
    told = said(tmp_path, ROEWATCH_TELLING__REMIND_HIGH="5 min", ROEWATCH_BROKER__PORT="0")
    assert len(told) == 2


def test_secrets_come_from_files_and_print_as_secret(tmp_path: Path) -> None:
    (tmp_path / "pass").write_text("swordfish\n")
    (tmp_path / "way").write_text("http://127.0.0.1:9/pssst\n")
    text = PLAIN.replace('url = "http://127.0.0.1:9/keeper?token=pssst"', 'url_file = "way"')
    setup = loaded(
        tmp_path,
        text + '[broker]\nusername = "roewatch"\n[mirror]\ntoken = "swordfish"\n',
        ROEWATCH_BROKER__PASSWORD_FILE=str(tmp_path / "pass"),
    )
    assert setup.broker.password == "swordfish"
    assert setup.ways[0].url.get_secret_value() == "http://127.0.0.1:9/pssst"
    assert "<secret>" in repr(setup)
    assert "swordfish" not in repr(setup)
    assert "pssst" not in repr(setup)


def test_an_empty_secret_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "pass").write_text("\n")
    (fault,) = said(tmp_path, PLAIN + '[broker]\nusername = "r"\npassword_file = "pass"\n')
    assert "is empty" in fault


# -- what the keeper overrides ------------------------------------------------------------------


def test_a_bound_for_one_stage_wins_over_the_one_for_all(tmp_path: Path) -> None:
    text = PLAIN.replace(
        'species = "boraras-brigittae"',
        'species = "boraras-brigittae"\nwindows.ph = { low = 4.5 }\n'
        "windows.spawning.ph = { low = 5.2, high = 5.8 }",
    )
    setup = loaded(tmp_path, text)
    holding = setup.tank_in("A1", Stage.HOLDING).windows[Quantity.PH]
    spawning = setup.tank_in("A1", Stage.SPAWNING).windows[Quantity.PH]
    assert (holding.low, holding.high, holding.basis) == (4.5, 7.0, Basis.KEEPER)
    assert (spawning.low, spawning.high) == (5.2, 5.8)


def test_the_keepers_rates_replace_the_sheets(tmp_path: Path) -> None:
    text = PLAIN.replace(
        'species = "boraras-brigittae"',
        'species = "boraras-brigittae"\n'
        'rates.temperature = [{ span = "2 h", rise = 1.0, fall = 0.5 }]',
    )
    (limit,) = loaded(tmp_path, text).room.tank("A1").rates[Quantity.TEMPERATURE]
    assert (limit.span_ms, limit.rise, limit.fall) == (2 * HOUR_MS, 1.0, 0.5)


def test_a_tank_without_a_species_is_judged_by_the_keepers_windows_alone(tmp_path: Path) -> None:
    text = PLAIN.replace(
        'species = "boraras-brigittae"', "windows.temperature = { low = 20.0, high = 26.0 }"
    )
    tank = loaded(tmp_path, text).room.tank("A1")
    assert set(tank.windows) - DERIVED == {Quantity.TEMPERATURE}
    assert tank.rates == {}


def test_the_keepers_own_sheet_overrides_the_shipped_one_number_by_number(tmp_path: Path) -> None:
    (tmp_path / "species").mkdir()
    (tmp_path / "species" / "boraras-brigittae.toml").write_text(
        '[sources]\nown = "my own broods, 2025"\n[windows.holding]\n'
        'ph = { low = 4.2, high = 6.4, basis = "keeper", source = "own" }\n'
    )
    setup = loaded(tmp_path)
    sheet = setup.species["boraras-brigittae"]
    ours = sheet.window(Stage.HOLDING, Quantity.PH)
    shipped = sheet.window(Stage.HOLDING, Quantity.TEMPERATURE)
    assert ours is not None
    assert shipped is not None
    assert (ours.low, ours.source, ours.basis) == (4.2, "my own broods, 2025", Basis.KEEPER)
    assert (shipped.low, sheet.latin) == (20, "Boraras brigittae")
    assert setup.room.tank("A1").windows[Quantity.PH] == ours


def test_a_calibration_counts_from_its_moment(tmp_path: Path) -> None:
    text = PLAIN.replace(
        'topic = "b/a1/t"',
        'topic = "b/a1/t"\ncalibrations = [{ at = 2026-03-02T00:00:00Z, offset = 0.5 }, '
        '{ at = "2026-03-01T00:00:00+02:00", slope = 2.0 }]',
    )
    (probe,) = loaded(tmp_path, text).room.probes
    first, second = (c.at_ms for c in probe.calibrations)
    assert second - first == 26 * HOUR_MS
    assert [probe.calibrated(10.0, at) for at in (first - 1, first, second)] == [10.0, 20.0, 10.5]


# -- advice -------------------------------------------------------------------------------------


def test_advice_is_no_fault(tmp_path: Path) -> None:
    text = PLAIN.partition("[[contact]]")[0]
    setup = loaded(tmp_path, text + '[[tank]]\nid = "A2"\nlitres = 9.0\n[broker]\nhost = "b.lan"\n')
    told = "\n".join(map(str, setup.advice))
    assert "room.toml:16: tank.A2: no probe watches this tank" in told
    assert "nobody would be told" in told
    assert "without a password" in told


@pytest.mark.parametrize(("every", "told"), [("3 min", False), ("5 min", True)])
def test_a_thermometer_read_too_seldom_to_name_what_is_poured_is_advised_against(
    tmp_path: Path, every: str, told: bool
) -> None:
    text = PLAIN.replace('quantity = "temperature"', f'quantity = "temperature"\nevery = "{every}"')
    advice = "\n".join(map(str, loaded(tmp_path, text).advice))
    assert ("read every 5 min a probe out of the water" in advice) == told


def test_a_secret_everybody_can_read_is_advised_against(tmp_path: Path) -> None:
    for name, mode in (("open", 0o644), ("shut", 0o600)):
        (tmp_path / name).write_text("http://127.0.0.1:9/x")
        (tmp_path / name).chmod(mode)
        text = PLAIN.replace(
            'url = "http://127.0.0.1:9/keeper?token=pssst"', f'url_file = "{name}"'
        )
        told = "\n".join(map(str, loaded(tmp_path, text).advice))
        assert ("everybody on this machine can read" in told) == (name == "open")


# -- files that are none ------------------------------------------------------------------------


def test_a_file_that_is_not_there_says_so(tmp_path: Path) -> None:
    (tmp_path / "rooms.toml").touch()
    (fault,) = faults_of(tmp_path / "room.toml", {})
    assert "no such file" in fault.what
    assert "rooms.toml" in fault.fix


@pytest.mark.parametrize("raw", [b"\xff\xfe\x00", b"name = 1\n\xe4 = 2\n"])
def test_a_file_that_is_not_utf8_says_where(tmp_path: Path, raw: bytes) -> None:
    (tmp_path / "room.toml").write_bytes(raw)
    (fault,) = faults_of(tmp_path / "room.toml", {})
    assert "UTF-8" in fault.what
    assert fault.line == raw.count(b"\n", 0, raw.find(b"\xe4" if b"\xe4" in raw else b"\xff")) + 1


def test_a_folder_is_not_a_room(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        load_setup(tmp_path, {})


# -- lines --------------------------------------------------------------------------------------


def test_lines_are_found_in_every_way_toml_can_be_written() -> None:
    text = '''# one
title = """two
three
"""
"quoted key" = { a = 1, 'b.c' = [1,
  2] }
[x.y]
z.w = "]" # [
[[t]]
a = """\\""" ] """
[[t]]
[[t.u]]
v = [
  { w = 1 }, # comment ]
  { w = 2,
    x = 3 } ]
'''
    lines = lines_of(text.replace(",\n    x", ", x"))
    assert lines["title",] == 2
    assert lines["quoted key", "b.c"] == 5
    assert lines["quoted key", "b.c", 1] == 6
    assert lines["x", "y", "z", "w"] == 8
    assert lines["t", 0, "a"] == 10
    assert lines["t", 1, "u", 0, "v", 1, "w"] == 15


def paths_in(value: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    found = [path] if path else []
    if isinstance(value, dict):
        for key, inner in value.items():
            found += paths_in(inner, (*path, key))
    if isinstance(value, list):
        for index, inner in enumerate(value):
            found += paths_in(inner, (*path, index))
    return found


def test_every_key_of_the_shipped_files_has_a_line() -> None:
    for file in shipped_config().rglob("*.toml"):
        text = file.read_text(encoding="utf-8")
        lines = lines_of(text)
        for path in paths_in(tomllib.loads(text)):
            assert path in lines, (file.name, path)
            last = [part for part in path if isinstance(part, str)][-1]
            if isinstance(path[-1], str):
                assert last in text.splitlines()[lines[path] - 1]


# -- anything at all ----------------------------------------------------------------------------

KEYS = sorted({*SECTIONS, "tank", "probe", "contact",
    "id", "name", "litres", "windows", "rates", "ph", "low", "high", "topic", "quantity", "every",
    "ways", "url", "species", "stage", "calibrations", "at", "holding", "timezone", "port",
})  # fmt: skip
values = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=12),
        st.sampled_from(["90 s", "0 s", "A1", "ph", "../..", "\0", "9" * 400 + " d", "1e999 h"]),
        st.datetimes(),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(KEYS), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.sampled_from(KEYS), values, max_size=6))
@given_settings(max_examples=200, deadline=None)
def test_no_table_whatever_crashes_the_check(table: dict[str, object]) -> None:
    document = document_of("", "room.toml")
    document.table = dict(table)
    draft = load._Draft(document=document, folder=Path("/nonexistent"))
    load._fit_all(draft)
    load._cross_check(draft)
    for fault in draft.faults:
        assert str(fault)


def replaced(table: object, path: tuple[str | int, ...], value: object) -> object:
    """A copy of `table` with another value at `path`."""
    if not path:
        return value
    if isinstance(table, dict):
        return {k: replaced(v, path[1:], value) if k == path[0] else v for k, v in table.items()}
    assert isinstance(table, list)
    return [replaced(v, path[1:], value) if n == path[0] else v for n, v in enumerate(table)]


SAMPLE = tomllib.loads((shipped_config() / "room.toml").read_text(encoding="utf-8"))
SHEETS = read_sheets(shipped_config() / "species")
SHEET = tomllib.loads((shipped_config() / "species/boraras-brigittae.toml").read_text("utf-8"))


@given(st.sampled_from(paths_in(SAMPLE)), values)
@given_settings(max_examples=150, deadline=None)
def test_one_wrong_value_anywhere_in_the_sample_is_told_and_never_crashes(
    path: tuple[str | int, ...], value: object
) -> None:
    document = document_of("", "room.toml")
    document.table = replaced(SAMPLE, path, value)  # type: ignore[assignment]
    draft = load._Draft(document=document, folder=shipped_config())
    load._fit_all(draft)
    draft.sheets = SHEETS
    load._cross_check(draft)
    for fault in draft.faults:
        assert str(fault)
    if not draft.faults:
        load._setup_of(draft, Path("room.toml"))


@given(st.sampled_from(paths_in(SHEET)), values)
@given_settings(max_examples=150, deadline=None)
def test_one_wrong_value_anywhere_in_a_sheet_is_told_and_never_crashes(
    path: tuple[str | int, ...], value: object
) -> None:
    document = document_of("", "sheet.toml")
    document.table = replaced(SHEET, path, value)  # type: ignore[assignment]
    sheet = sheet_of(document, "boraras-brigittae")
    assert (sheet is None) == bool(document.faults)


fragments = st.lists(
    st.one_of(
        st.sampled_from(
            ["[", "]", "[[tank]]\n", "[room]\n", "=", '"', "'''", '"""', "{", "}", ",", "\n", "#",
             "\\", ".", "name", "litres = 20\n", "id = 'A1'\n", "\r\n", "1e400", "-", "é", "\0",
             "windows.ph = { low = 9, high = 1 }\n", "2026-13-45", "nan"]
        ),
        st.text(printable, max_size=5),
    ),
    max_size=30,
).map("".join)  # fmt: skip


@given(fragments)
@example("[" * 3000)
@example("a = " + "[" * 3000)
@example("a = " + "{a=" * 2000)
@example("a = " + "9" * 5000)
@example('"\\ud800" = 1')
@given_settings(max_examples=250, deadline=None)
def test_no_text_whatever_crashes_the_reading(text: str) -> None:
    document = document_of(text, "room.toml")
    lines_of(text)  # even of text that is no TOML it gives an answer
    if not document.faults:
        for path in paths_in(document.table):
            assert document.line_of(path) >= 1


@given(st.binary(max_size=200))
@given_settings(max_examples=25, deadline=None)
def test_no_bytes_whatever_crash_the_loading(
    tmp_path_factory: pytest.TempPathFactory, raw: bytes
) -> None:
    file = tmp_path_factory.getbasetemp() / "any.toml"
    file.write_bytes(raw)
    with pytest.raises(SettingsError):
        load_setup(file, {})


# -- keeping ----------------------------------------------------------------------------------


def test_a_quantity_may_be_kept_for_another_time_than_the_rest(tmp_path: Path) -> None:
    text = PLAIN + '[storage]\nkeep = "60 d"\nkeep_of = { temperature = "for ever", ph = "7 d" }\n'
    storage = loaded(tmp_path, text).storage
    now_ms = 100 * DAY_MS
    probes = [
        Probe(id=quantity, tank="A1", quantity=quantity, every_ms=60_000)
        for quantity in (Quantity.TEMPERATURE, Quantity.PH, Quantity.LIGHT)
    ]
    assert storage.let_go_ms(probes, now_ms) == {"ph": 93 * DAY_MS, "light": 40 * DAY_MS}


def test_readings_cannot_be_kept_for_less_than_a_week_of_graphs(tmp_path: Path) -> None:
    short, unknown = said(tmp_path, PLAIN + '[storage]\nkeep_of = { ph = "2 d", warmth = "9 d" }\n')
    assert "storage.keep_of.ph: shorter than a week" in short
    assert "'warmth' is not a quantity" in unknown
