"""What boards write: topics and payloads exactly as the sample settings expect them."""

import json

import pytest

from roewatch.room.moment import at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch_sim.payload import Board, Message
from roewatch_sim.room import Sample

AT_MS = at_ms_of_iso("2026-11-25T10:00:00.250Z")
T, PH, EC = Quantity.TEMPERATURE, Quantity.PH, Quantity.CONDUCTIVITY


def written(*samples: Sample, pack_older: bool = False) -> list[Message]:
    return list(Board(pack_older=pack_older).messages(samples))


def test_an_a_tank_sends_one_json_object_with_its_time_and_all_it_measured() -> None:
    (message,) = written(Sample(AT_MS, "A1", PH, 6.31), Sample(AT_MS, "A1", T, 26.4375))
    assert message.topic == "boathouse/a1/water"
    assert json.loads(message.payload) == {
        "t": "2026-11-25T10:00:00.250Z", "ph": 6.31, "temperature": 26.4375,
    }  # fmt: skip
    assert message.samples == 2


def test_a_silent_probe_is_an_absent_key() -> None:
    (message,) = written(Sample(AT_MS, "A1", PH, 6.31))
    assert "temperature" not in json.loads(message.payload)


def test_a_b_tank_sends_a_senml_pack_with_base_name_base_time_and_units() -> None:
    (message,) = written(
        Sample(AT_MS, "B1", EC, 48.0), Sample(AT_MS, "B1", PH, 6.3), Sample(AT_MS, "B1", T, 26.5)
    )
    assert message.topic == "boathouse/b1/pack"
    first, *rest = json.loads(message.payload)
    # RFC 8428, 4.1 and 12.1: bn, bt in seconds; units Cel, pH, S/m
    assert first == {
        "bn": "b1/", "bt": 1795600800.25, "n": "conductivity", "u": "S/m", "v": 0.0048,
    }  # fmt: skip
    assert rest == [
        {"n": "ph", "u": "pH", "v": 6.3},
        {"n": "temperature", "u": "Cel", "v": 26.5},
    ]


def test_a_pack_may_carry_an_older_round_by_negative_relative_time() -> None:
    board = Board(pack_older=True)
    assert list(board.messages([Sample(AT_MS, "B2", T, 23.0)])) == []
    (message,) = board.messages([Sample(AT_MS + 60_000, "B2", T, 23.5)])
    first, second = json.loads(message.payload)
    assert (first["bt"], first["t"], first["v"]) == (1795600860.25, -60.0, 23.0)
    assert ("t" in second, second["v"]) == (False, 23.5)
    assert message.samples == 2


def test_what_waits_for_a_second_round_is_sent_in_the_end() -> None:
    board = Board(pack_older=True)
    list(board.messages([Sample(AT_MS, "B2", T, 23.0)]))
    assert [message.samples for message in board.rest()] == [1]
    assert list(board.rest()) == []


def test_b6_sends_bare_numbers_with_comma_and_point_in_turn() -> None:
    messages = written(
        Sample(AT_MS, "B6", PH, 6.5),
        Sample(AT_MS, "B6", T, 24.5625),
        Sample(AT_MS + 60_000, "B6", T, 24.5),
    )
    assert [(m.topic, m.payload) for m in messages] == [
        ("boathouse/b6/ph", "6.50"),
        ("boathouse/b6/temperature", "24,5625 °C"),
        ("boathouse/b6/temperature", "24.5 °C"),
    ]


def test_the_rooms_air_is_a_bare_number() -> None:
    assert written(Sample(AT_MS, "room", T, 20.0)) == [
        Message("boathouse/room/temperature", "20", 1)
    ]


@pytest.mark.parametrize("value", [85.0, -127.0])
def test_a_sensors_error_number_is_written_like_any_other(value: float) -> None:
    (message,) = written(Sample(AT_MS, "B6", T, value))
    assert message.payload == f"{value:.0f} °C"
