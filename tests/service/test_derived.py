"""Derived readings: from believed, fresh inputs alone, and the same whatever came first."""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from roewatch.alarms.alarm import AlarmChange
from roewatch.room.fault import SettingsError
from roewatch.room.moment import HOUR_MS, MINUTE_MS, SECOND_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Flagged, Reading
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM, Probe, Room, Tank
from roewatch.service.cli import app
from roewatch.service.derived import Deriver, derived_probes
from roewatch.service.founding import fold_of
from roewatch.service.replay import replay
from roewatch.service.settings.load import Setup, load_setup
from roewatch.storage.store import Store
from roewatch.water.derived import WaterFacts

NOON = 1_767_268_800_000
SETTLE_MS = 20 * SECOND_MS
HARD = {"A1": WaterFacts(dkh=4.0)}


def probe(quantity: Quantity, *, every_ms: int = MINUTE_MS, tank: str = "A1") -> Probe:
    return Probe(id=f"{tank}-{quantity}".lower(), tank=tank, quantity=quantity, every_ms=every_ms)


ALL = tuple(
    probe(quantity)
    for quantity in (
        Quantity.TEMPERATURE, Quantity.PH, Quantity.OXYGEN, Quantity.AMMONIA_TOTAL,
    )
)  # fmt: skip


def deriver(probes: Sequence[Probe] = ALL, facts: dict[str, WaterFacts] | None = None) -> Deriver:
    known = HARD if facts is None else facts
    room = Room(
        id="boathouse",
        name="The Boathouse",
        zone="Europe/Tallinn",
        tanks=(Tank(id="A1", litres=54.0),),
        probes=(*probes, *derived_probes(probes, known)),
    )
    return Deriver(room, known, settle_ms=SETTLE_MS)


def said(quantity: Quantity, value: float, *, at_ms: int = NOON, flag: Flag = Flag.GOOD) -> Flagged:
    return Flagged(f"a1-{quantity}", at_ms, value, value, flag)


def fed(to: Deriver, flagged: Iterable[Flagged]) -> list[Reading]:
    """What comes out while these go in, as the fold does it."""
    out: list[Reading] = []
    for one in flagged:
        out += to.due(one.at_ms)
        to.hear(one, None)
    return out


# -- which ------------------------------------------------------------------------------------


def test_what_a_tank_has_the_inputs_for_is_derived() -> None:
    found = derived_probes(ALL, HARD)
    assert {p.id for p in found} == {"a1-ammonia_free", "a1-oxygen_percent", "a1-dioxide"}
    assert all(p.derived and p.tank == "A1" for p in found)


def test_a_derived_series_speaks_as_often_as_its_slowest_input() -> None:
    probes = (probe(Quantity.TEMPERATURE), probe(Quantity.OXYGEN, every_ms=HOUR_MS))
    (found,) = derived_probes(probes, {})
    assert found.every_ms == HOUR_MS


def test_what_a_probe_measures_is_not_derived_besides() -> None:
    probes = (*ALL, probe(Quantity.OXYGEN_PERCENT))
    assert Quantity.OXYGEN_PERCENT not in {p.quantity for p in derived_probes(probes, HARD)}


def test_the_rooms_own_thermometer_lends_itself_to_no_tank() -> None:
    probes = (probe(Quantity.TEMPERATURE, tank=ROOM), probe(Quantity.OXYGEN))
    assert derived_probes(probes, {}) == ()


@pytest.mark.parametrize(
    "facts",
    [
        WaterFacts(),
        WaterFacts(dkh=0.5),
        WaterFacts(dkh=4, tannin=True),
        WaterFacts(dkh=4, phosphate=True),
    ],
    ids=["no KH", "thin KH", "tannin", "phosphate"],
)
def test_dioxide_is_not_derived_where_the_sum_would_always_be_refused(facts: WaterFacts) -> None:
    assert Quantity.DIOXIDE not in {p.quantity for p in derived_probes(ALL, {"A1": facts})}


# -- what -------------------------------------------------------------------------------------


def test_a_value_is_made_once_late_readings_have_had_their_time() -> None:
    at = deriver()
    got = fed(at, [said(Quantity.TEMPERATURE, 25.0), said(Quantity.OXYGEN, 8.0)])
    assert got == []
    assert list(at.due(NOON + SETTLE_MS - 1)) == []
    # 8.0 mg/L where 8.26 are full (Benson and Krause 1980, as printed in USGS tables)
    (made,) = at.due(NOON + SETTLE_MS)
    assert (made.probe, made.at_ms) == ("a1-oxygen_percent", NOON)
    assert made.raw == pytest.approx(96.8, abs=0.1)
    assert list(at.due(NOON + HOUR_MS)) == []


def test_all_three_come_from_one_minute_of_readings() -> None:
    at = deriver()
    fed(
        at,
        [
            said(Quantity.TEMPERATURE, 25.0),
            said(Quantity.PH, 7.0),
            said(Quantity.OXYGEN, 8.0),
            said(Quantity.AMMONIA_TOTAL, 1.0),
        ],
    )
    found = {reading.probe: reading.raw for reading in at.due(NOON + MINUTE_MS)}
    # 0.564 % of the total is un-ionised at pH 7.0 and 25 °C (Emerson and others 1975)
    assert found["a1-ammonia_free"] == pytest.approx(0.00564 * 1.2159, rel=0.01)
    assert found["a1-dioxide"] == pytest.approx(13.4, abs=0.4)
    assert len(found) == 3


@pytest.mark.parametrize("flag", [Flag.SUSPECT, Flag.BAD, Flag.NOT_EVALUATED, Flag.MISSING])
def test_only_believed_readings_count(flag: Flag) -> None:
    at = deriver()
    fed(at, [said(Quantity.TEMPERATURE, 25.0), said(Quantity.OXYGEN, 8.0, flag=flag)])
    assert list(at.due(NOON + HOUR_MS)) == []


def test_a_stale_input_does_not_count() -> None:
    at = deriver()
    got = fed(
        at,
        [
            said(Quantity.OXYGEN, 8.0),
            *(said(Quantity.TEMPERATURE, 25.0, at_ms=NOON + n * MINUTE_MS) for n in range(60)),
        ],
    )
    assert [r.at_ms for r in got] == [NOON + n * MINUTE_MS for n in range(16)]


def test_an_input_that_speaks_once_an_hour_is_not_stale_in_between() -> None:
    kit = probe(Quantity.AMMONIA_TOTAL, every_ms=HOUR_MS)
    probes = (probe(Quantity.TEMPERATURE), probe(Quantity.PH), kit)
    at = deriver(probes, {})
    minutes = [
        said(quantity, value, at_ms=NOON + n * MINUTE_MS)
        for n in range(121)
        for quantity, value in ((Quantity.TEMPERATURE, 25.0), (Quantity.PH, 7.0))
    ]
    got = fed(at, [said(Quantity.AMMONIA_TOTAL, 1.0), *minutes])
    assert [r.at_ms for r in got] == [NOON, NOON + HOUR_MS]


def test_where_nothing_new_was_heard_nothing_is_derived() -> None:
    at = deriver()
    fed(at, [said(Quantity.TEMPERATURE, 25.0), said(Quantity.OXYGEN, 8.0)])
    assert len(list(at.due(NOON + 10 * HOUR_MS))) == 1


def test_a_reading_taken_back_no_longer_counts() -> None:
    at = deriver()
    wrong = said(Quantity.OXYGEN, 2.0, at_ms=NOON + MINUTE_MS)
    nothing = said(Quantity.OXYGEN, 8.1, at_ms=NOON + 2 * MINUTE_MS, flag=Flag.SUSPECT)
    warm = [said(Quantity.TEMPERATURE, 25.0, at_ms=NOON + n * MINUTE_MS) for n in range(3)]
    for one in (warm[0], said(Quantity.OXYGEN, 8.0), warm[1], wrong, warm[2]):
        list(at.due(one.at_ms))
        at.hear(one, None)
    at.hear(nothing, wrong._replace(flag=Flag.BAD))
    # the newest two are not believed, and the one before them is fresh enough
    assert [r.raw for r in at.due(NOON + HOUR_MS)] == [pytest.approx(96.8, abs=0.1)]


# -- the same, live, after a restart and again --------------------------------------------------

days = st.lists(
    st.tuples(
        st.sampled_from([p.quantity for p in ALL]),
        st.integers(1, 40),
        st.integers(0, SETTLE_MS // SECOND_MS - 1),
        st.sampled_from([Flag.GOOD, Flag.GOOD, Flag.GOOD, Flag.SUSPECT]),
    ),
    min_size=5,
    max_size=120,
)
TYPICAL = {
    Quantity.TEMPERATURE: 25.0,
    Quantity.PH: 7.2,
    Quantity.OXYGEN: 7.5,
    Quantity.AMMONIA_TOTAL: 0.4,
}


def played(drawn: list[tuple[Quantity, int, int, Flag]]) -> list[tuple[int, Flagged]]:
    """(arrival, reading) in order of event time; no probe overtakes itself."""
    at_ms, found, last = NOON, [], {}  # type: ignore[var-annotated]
    for number, (quantity, seconds, delay, flag) in enumerate(drawn):
        at_ms += seconds * SECOND_MS
        arrives = max(at_ms + delay * SECOND_MS, last.get(quantity, 0))
        last[quantity] = arrives
        value = TYPICAL[quantity] * (1 + 0.001 * (number % 7))
        found.append((arrives, said(quantity, value, at_ms=at_ms, flag=flag)))
    return found


@settings(max_examples=60, deadline=None)
@given(days)
def test_how_readings_of_different_probes_were_interleaved_does_not_matter(
    drawn: list[tuple[Quantity, int, int, Flag]],
) -> None:
    sent = played(drawn)
    in_order, as_came = deriver(), deriver()
    one = fed(in_order, [flagged for _, flagged in sent])
    other = fed(as_came, [flagged for _, flagged in sorted(sent, key=lambda both: both[0])])
    end = sent[-1][1].at_ms + HOUR_MS
    assert one + list(in_order.due(end)) == other + list(as_came.due(end))


@settings(max_examples=60, deadline=None)
@given(days, st.integers(0, 120), st.integers(0, 120))
def test_after_a_crash_nothing_is_derived_twice_and_nothing_is_lost(
    drawn: list[tuple[Quantity, int, int, Flag]], saved_at: int, died_at: int
) -> None:
    sent = [flagged for _, flagged in played(drawn)]
    saved_at, died_at = sorted((min(saved_at, len(sent)), min(died_at, len(sent))))
    end = sent[-1].at_ms + HOUR_MS
    whole = deriver()
    wanted = fed(whole, sent) + list(whole.due(end))

    first = deriver()
    kept = fed(first, sent[:saved_at])
    states = first.changed_states()
    since = fed(first, sent[saved_at:died_at])  # kept, but the state was not saved again

    again = deriver()
    assert again.restore(states) == []
    reread = [
        *sent[saved_at:died_at],
        *(Flagged(r.probe, r.at_ms, r.raw, r.raw, Flag.GOOD) for r in since),
    ]
    twice = fed(again, sorted(reread, key=lambda f: (f.at_ms, f.probe)))
    rest = fed(again, sent[died_at:]) + list(again.due(end))
    moments = [(r.probe, r.at_ms) for r in kept + since + twice + rest]
    assert len(moments) == len(set(moments))
    assert sorted(kept + since + twice + rest) == sorted(wanted)


def test_a_state_that_cannot_be_read_is_named_and_starts_fresh() -> None:
    at = deriver()
    assert at.restore({"derived/A1": "{", "judge/room": "{"}) == ["derived/A1"]
    fed(at, [said(Quantity.TEMPERATURE, 25.0), said(Quantity.OXYGEN, 8.0)])
    assert len(list(at.due(NOON + MINUTE_MS))) == 1


# -- in the settings ----------------------------------------------------------------------------

ROOM_TEXT = """
[room]
name = "The Boathouse"
timezone = "Europe/Tallinn"
altitude_m = 1500
[[tank]]
id = "A1"
litres = 54
stage = "fry"
dkh = 4.0
windows.dioxide.high = 20.0
[[probe]]
tank = "A1"
quantity = "temperature"
topic = "b/t"
[[probe]]
tank = "A1"
quantity = "ph"
topic = "b/ph"
every = "5 min"
[[probe]]
tank = "A1"
quantity = "oxygen"
topic = "b/o"
[[water]]
name = "well"
kh = 8.4
"""


def loaded(folder: Path, text: str = ROOM_TEXT) -> Setup:
    (folder / "room.toml").write_text(text, encoding="utf-8")
    return load_setup(folder / "room.toml", {})


def test_the_room_has_a_probe_for_each_derived_series_and_no_topic_for_it(tmp_path: Path) -> None:
    setup = loaded(tmp_path)
    every = {p.id: p.every_ms for p in setup.room.probes if p.derived}
    assert every == {"a1-oxygen_percent": MINUTE_MS, "a1-dioxide": 5 * MINUTE_MS}
    assert {b.probe for b in setup.bindings} == {"a1-temperature", "a1-ph", "a1-oxygen"}


def test_derived_windows_follow_the_stage_and_the_keepers_own_wins(tmp_path: Path) -> None:
    setup = loaded(tmp_path)
    fry = setup.room.tank("A1").windows
    assert fry[Quantity.AMMONIA_FREE].high == 0.005
    assert fry[Quantity.AMMONIA_FREE].basis == "from memory"
    assert setup.tank_in("A1", Stage.HOLDING).windows[Quantity.AMMONIA_FREE].high == 0.02
    assert fry[Quantity.DIOXIDE].high == 20.0
    assert fry[Quantity.DIOXIDE].basis == "keeper"


def test_a_bound_beyond_ours_is_told_whose_the_other_is(tmp_path: Path) -> None:
    text = ROOM_TEXT.replace("windows.dioxide.high = 20.0", "windows.dioxide.low = 40.0")
    with pytest.raises(SettingsError, match=r"low 40 is not below high 30, which is Roewatch's"):
        loaded(tmp_path, text)


def test_the_rooms_altitude_makes_the_air_thinner(tmp_path: Path) -> None:
    # ICAO standard atmosphere: 845.6 hPa at 1500 m
    assert loaded(tmp_path).facts["A1"].station_hpa == pytest.approx(845.6, abs=0.2)


def test_waters_are_known_by_name(tmp_path: Path) -> None:
    assert loaded(tmp_path).waters["well"].source.alkalinity == pytest.approx(3.0, abs=0.01)


# -- in the fold --------------------------------------------------------------------------------

OXYGEN_ROOM = """
[room]
name = "The Boathouse"
timezone = "Europe/Tallinn"
[[tank]]
id = "A1"
litres = 54
[[tank]]
id = "A2"
litres = 54
[[probe]]
tank = "A1"
quantity = "temperature"
topic = "b/t"
[[probe]]
tank = "A1"
quantity = "oxygen"
topic = "b/o"
[[probe]]
tank = "A2"
quantity = "temperature"
topic = "b/2"
"""


def an_afternoon() -> list[Reading]:
    """Four hours; after two the air stops and oxygen falls from full to half."""
    found = []
    for minute in range(240):
        at_ms = NOON + minute * MINUTE_MS
        oxygen = 8.0 - max(0.0, min(minute - 120, 40)) * 0.1
        found += [
            Reading("a1-temperature", at_ms + 7_000, 25.0 + 0.0625 * (minute % 3)),
            Reading("a1-oxygen", at_ms + 31_000, oxygen + 0.02 * (minute % 2)),
            Reading("a2-temperature", at_ms + 55_000, 24.0 + 0.0625 * (minute % 3)),
        ]
    return found


def lived(setup: Setup, readings: Sequence[Reading], *, dies_after: set[int]) -> list[AlarmChange]:
    """Minute by minute into the store, with a tick each; killed after these minutes."""
    store = Store.open(setup.storage.path)
    changes: list[AlarmChange] = []
    try:
        fold = fold_of(setup, store, start_ms=readings[0].at_ms)
        for minute in range(240):
            # a probe's message may come late: A2 speaks last and is heard first
            batch = readings[3 * minute : 3 * minute + 3][::-1]
            now_ms = NOON + (minute + 1) * MINUTE_MS
            kept = [fold.take(batch, now_ms), fold.tick(now_ms)]
            if minute in dies_after:
                if minute % 2:  # killed after the batch was kept: only what the tick found is lost
                    store.keep(kept[0])
                    changes += kept[0].changes
                fold = fold_of(setup, store)
                # else nothing was kept nor acknowledged, and the broker sends it again
                kept = [fold.put_back(store, now_ms), fold.take(batch, now_ms), fold.tick(now_ms)]
            for each in kept:
                store.keep(each)
                changes += each.changes
    finally:
        store.close()
    return changes


def stored(setup: Setup) -> list[Reading]:
    store = Store.open(setup.storage.path)
    try:
        return list(store.kept_after({}))
    finally:
        store.close()


def told(changes: Iterable[AlarmChange]) -> set[tuple[str, str, int]]:
    return {(c.alarm.key, c.alarm.state.value, c.at_ms) for c in changes}


@pytest.mark.parametrize("dies_after", [set(), {60}, {119, 121, 133, 139, 150, 151, 152}])
def test_live_restarted_and_replayed_the_derived_series_and_its_alarms_are_the_same(
    tmp_path: Path, dies_after: set[int]
) -> None:
    setup = loaded(tmp_path, OXYGEN_ROOM)
    readings = an_afternoon()
    live = lived(setup, readings, dies_after=dies_after)
    kept = stored(setup)
    derived = [r for r in kept if r.probe == "a1-oxygen_percent"]
    # the first reading of a probe is not evaluated, so it makes nothing
    assert [r.at_ms for r in derived] == [NOON + n * MINUTE_MS for n in range(2, 240)]
    assert derived[100].raw == pytest.approx(97, abs=1)
    assert derived[-1].raw == pytest.approx(48.5, abs=1)
    assert {r for r in kept if r not in derived} == set(readings)

    again = told(replay(setup.room, readings, facts=setup.facts))
    assert again == told(replay(setup.room, kept, facts=setup.facts))
    of_percent = {key for key, _, _ in again if "oxygen_percent" in key}
    assert any("below-window" in key for key in of_percent)
    assert told(live) == again


def test_a_silent_input_is_told_once_and_not_again_for_what_is_derived(tmp_path: Path) -> None:
    setup = loaded(tmp_path, OXYGEN_ROOM)
    silent = [r for r in an_afternoon() if r.probe != "a1-oxygen" or r.at_ms < NOON + HOUR_MS]
    keys = {key for key, _, _ in told(replay(setup.room, silent, facts=setup.facts))}
    assert any("probe-silent" in key and "a1-oxygen" in key for key in keys)
    assert not any("oxygen_percent" in key for key in keys), keys


@pytest.mark.parametrize(
    ("written", "why"),
    [
        ("dkh = 0.4", "below 1\u00a0°dKH"),
        ("dkh = 4.0\ntannin = true", "with tannin a KH kit misleads"),
    ],
)
def test_a_hardness_that_cannot_tell_co2_is_answered_with_advice(
    tmp_path: Path, written: str, why: str
) -> None:
    setup = loaded(tmp_path, ROOM_TEXT.replace("dkh = 4.0", written))
    assert Quantity.DIOXIDE not in {p.quantity for p in setup.room.probes}
    assert any(why in advice.what and advice.key.endswith("dkh") for advice in setup.advice)


# -- on the command line ------------------------------------------------------------------------


def test_what_is_worked_out_is_listed_without_a_topic_and_cannot_be_calibrated(
    tmp_path: Path,
) -> None:
    setup = loaded(tmp_path, OXYGEN_ROOM)
    lived(setup, an_afternoon(), dies_after=set())
    room = str(tmp_path / "room.toml")
    listed = CliRunner().invoke(app, ["probe", "list", "--room", room, "--json"])
    rows = {row["probe"]: row for row in map(json.loads, listed.stdout.splitlines())}
    assert rows["a1-oxygen_percent"]["topic"] is None
    assert rows["a1-oxygen_percent"]["value"] == pytest.approx(48.5, abs=1)
    refused = CliRunner().invoke(app, ["probe", "calibrate", "a1-oxygen_percent", "--room", room])
    assert refused.exit_code == 2
    assert "worked out from other probes" in " ".join(refused.stderr.split())
