"""The sample room shows every setting with its default, and is the room the simulator plays."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from roewatch.intake.binding import by_topic
from roewatch.intake.decode import decode
from roewatch.judging.limits import Limits
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM
from roewatch.service.settings.entries import (
    CalibrationEntry,
    ContactEntry,
    PersonEntry,
    ProbeEntry,
    ProgramEntry,
    RateOverride,
    TankEntry,
    WaterEntry,
    WayEntry,
    WindowOverride,
)
from roewatch.service.settings.load import SECTIONS, Setup, load_setup
from roewatch.service.settings.shipped import shipped_config
from roewatch_sim.boathouse import boathouse
from roewatch_sim.payload import Board

SAMPLE = shipped_config() / "room.toml"
TEXT = SAMPLE.read_text(encoding="utf-8")
ENTRIES = [TankEntry, ProbeEntry, WaterEntry, ContactEntry, WayEntry]
ENTRIES += [PersonEntry, ProgramEntry]
START_MS = 1_772_323_200_000  # 2026-03-01, midnight in UTC


@pytest.fixture(scope="module")
def setup() -> Setup:
    return load_setup(SAMPLE, {})


def shown_in(section: str) -> str:
    """The part of the sample from `[section]` to the next heading."""
    found = re.search(rf"^\[{section}\]\n(.*?)(?=^\[|\Z)", TEXT, re.MULTILINE | re.DOTALL)
    assert found is not None, f"[{section}] is not in the sample"
    return found[1]


def defaults_shown_in(section: str) -> dict[str, Any]:
    """The settings that stand behind one # there, as TOML reads them."""
    lines = re.findall(r"^# (\w+ = .*)$", shown_in(section), re.MULTILINE)
    return tomllib.loads("\n".join(lines))


@pytest.mark.parametrize("section", SECTIONS)
def test_every_setting_of_a_section_is_shown(section: str) -> None:
    shown = set(re.findall(r"^(?:#+ )?(\w+) = ", shown_in(section), re.MULTILINE))
    assert shown == set(SECTIONS[section].model_fields), (
        "run .venv/bin/python tests/service/refresh_sample.py"
    )


@pytest.mark.parametrize("section", SECTIONS)
def test_what_stands_behind_one_hash_is_the_default(section: str) -> None:
    model = SECTIONS[section]
    needed = {"name": "x", "timezone": "UTC"} if section == "room" else {}
    shown = defaults_shown_in(section)
    taken = model.model_validate({**needed, **shown})
    for key in shown:
        default = model.model_fields[key].get_default(call_default_factory=True, validated_data={})
        assert getattr(taken, key) == default, key


@pytest.mark.parametrize("model", ENTRIES, ids=lambda model: model.__name__)
def test_every_setting_of_an_entry_is_shown(model: type[BaseModel]) -> None:
    for key in model.model_fields:
        assert re.search(rf"\b{key}\b", TEXT), key


def test_bounds_rates_and_calibrations_are_shown_as_they_are_written() -> None:
    for model in (WindowOverride, RateOverride, CalibrationEntry):
        for key in model.model_fields:
            assert re.search(rf"[{{,] {key} = ", TEXT), key


def test_with_every_hash_taken_away_it_is_still_the_same_room(setup: Setup, tmp_path: Path) -> None:
    spelled_out = re.sub(r"^# (\w+ = )", r"\1", TEXT, flags=re.MULTILINE)
    assert spelled_out != TEXT
    (tmp_path / "room.toml").write_text(spelled_out, encoding="utf-8")
    (tmp_path / "species").mkdir()
    again = load_setup(tmp_path / "room.toml", {})
    assert again.room == setup.room
    assert again.limits == setup.limits == Limits()
    assert again.telling == setup.telling
    assert again.web == setup.web
    assert again.mirror == setup.mirror


def test_there_is_nothing_to_advise_on_it(setup: Setup) -> None:
    assert setup.advice == ()


def test_it_is_the_boathouse(setup: Setup) -> None:
    assert setup.room.name == "The Boathouse"
    assert setup.room.zone == "Europe/Tallinn"
    assert [tank.id for tank in setup.room.tanks] == [f"{r}{n}" for r in "AB" for n in range(1, 7)]
    assert {tank.place.rack for tank in setup.room.tanks} == {"A", "B"}
    assert [contact.name for contact in setup.contacts] == ["Keeper", "Stand-in"]


def test_tanks_and_probes_are_those_the_simulator_plays(setup: Setup) -> None:
    played = [tank.spec for tank in boathouse(1, START_MS).tanks.values()]
    for ours, theirs in zip(setup.room.tanks, played, strict=True):
        assert ours.id == theirs.id
        assert (ours.litres, ours.heater_watts) == (theirs.heat.litres, theirs.heat.heater_watts)
        assert (ours.species, ours.stage) == (theirs.species, theirs.stage)
    spoken = {(spec.id, quantity) for spec in played for quantity in spec.quantities}
    spoken.add((ROOM, Quantity.TEMPERATURE))
    assert {(probe.tank, probe.quantity) for probe in setup.room.probes} == spoken
    assert {probe.every_ms for probe in setup.room.probes} == {MINUTE_MS}


@pytest.mark.parametrize("pack_older", [False, True])
def test_every_message_of_the_simulator_is_read_by_the_probes_it_is_for(
    setup: Setup, pack_older: bool
) -> None:
    room, board = boathouse(3, START_MS), Board(pack_older=pack_older)
    samples = list(room.run(START_MS + 10 * MINUTE_MS))
    bound = by_topic(setup.bindings)
    read: dict[tuple[str, int], float] = {}
    for message in [*board.messages(samples), *board.rest()]:
        decoded, refused = decode(
            message.topic,
            message.payload.encode(),
            bound[message.topic],
            arrival_ms=START_MS + 10 * MINUTE_MS,
            retained=False,
        )
        assert not refused
        assert len(decoded) == message.samples
        read |= {(d.probe, d.at_ms): d.raw for d in decoded}
    assert {probe for probe, _ in read} == {probe.id for probe in setup.room.probes}
    told = {s.value for s in samples if (s.tank, s.quantity) == ("B1", Quantity.CONDUCTIVITY)}
    heard = {round(raw, 1) for (probe, _), raw in read.items() if probe == "b1-conductivity"}
    assert heard <= {round(value, 1) for value in told}


def test_a_healthy_day_stays_inside_every_window(setup: Setup) -> None:
    room = boathouse(7, START_MS, every_ms=5 * MINUTE_MS)
    for _ in room.run(START_MS + DAY_MS):
        for tank in setup.room.tanks:
            now = room.truth(tank.id)
            for quantity, value in {
                Quantity.TEMPERATURE: now.celsius,
                Quantity.PH: now.ph,
                Quantity.CONDUCTIVITY: now.conductivity,
            }.items():
                window = tank.windows.get(quantity)
                probed = f"{tank.id}-{quantity}".lower() in {p.id for p in setup.room.probes}
                if window is not None and probed:
                    assert window.outside_by(value) == 0, (tank.id, quantity, value, window)


def test_every_stage_of_every_tank_can_be_judged(setup: Setup) -> None:
    for tank in setup.room.tanks:
        assert setup.tank_in(tank.id, tank.stage) == tank
        for stage in Stage:
            there = setup.tank_in(tank.id, stage)
            assert there.windows[Quantity.TEMPERATURE].text(KEPT[Quantity.TEMPERATURE].digits)
            assert {limit.span_ms for limit in there.rates[Quantity.TEMPERATURE]} == {
                HOUR_MS,
                DAY_MS,
            }
            assert there.rates[Quantity.PH]


def test_a_change_of_stage_changes_that_tank_alone(setup: Setup) -> None:
    moved = setup.room_in({"B3": Stage.GROWING})
    assert [t.id for t in moved.tanks] == [t.id for t in setup.room.tanks]
    changed = [now.id for now, was in zip(moved.tanks, setup.room.tanks, strict=True) if now != was]
    assert changed == ["B3"]
    assert moved.tank("B3").windows == setup.windows_of(setup.room.tank("B3"), Stage.GROWING)
    with pytest.raises(KeyError, match="no tank 'B9'"):
        setup.room_in({"B9": Stage.EGGS})


def test_the_keepers_bound_wins_over_the_sheets(setup: Setup) -> None:
    a3 = setup.room.tank("A3").windows[Quantity.PH]
    sheet = setup.species["boraras-brigittae"].window(Stage.SPAWNING, Quantity.PH)
    assert sheet is not None
    assert (a3.low, a3.high) == (sheet.low, 6.5)
    assert a3.basis == "keeper"
    assert sheet.source in a3.source
