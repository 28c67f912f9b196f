"""The survey: what it proposes is valid TOML and reads the very messages it was made from."""

import json
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.intake.binding import Binding, Format
from roewatch.intake.decode import decode
from roewatch.intake.guess import quantity_of, tank_of
from roewatch.intake.message import Message, Token
from roewatch.intake.survey import HeardTopic, survey
from roewatch.room.moment import at_ms_of_iso, span_ms_of
from roewatch.room.quantity import Quantity

NOON = at_ms_of_iso("2026-03-01T12:00:00Z")
TANKS = ("A1", "A2", "B6")


def said(topic: str, payload: object, second: float = 0, *, retained: bool = False) -> Message:
    text = payload if isinstance(payload, str | bytes) else json.dumps(payload)
    raw = text.encode() if isinstance(text, str) else text
    return Message(topic, raw, retained, NOON + round(second * 1000), Token(1, 1, 1))


def every_five(topic: str, payload: object) -> list[Message]:
    return [said(topic, payload, 5 * number + 0.03 * (number % 3)) for number in range(10)]


def one(messages: list[Message]) -> HeardTopic:
    (heard,) = survey(messages, tanks=TANKS)
    return heard


def entries(heard: HeardTopic) -> list[dict[str, Any]]:
    return [tomllib.loads(probe.toml())["probe"][0] for probe in heard.probes]


def read_back(heard: HeardTopic, message: Message) -> dict[str, float]:
    """What the proposed entries make of a message, by quantity."""
    bindings = [
        Binding(
            topic=entry["topic"],
            probe=entry["quantity"],
            quantity=Quantity(entry["quantity"]),
            format=Format(entry["format"]),
            pointer=entry.get("pointer", ""),
            time_pointer=entry.get("time_pointer", ""),
            name=entry.get("name", ""),
            unit=entry.get("unit", ""),
        )
        for entry in entries(heard)
    ]
    decoded, refused = decode(
        message.topic, message.payload, bindings, arrival_ms=message.arrival_ms, retained=False
    )
    assert refused == []
    return {reading.probe: reading.raw for reading in decoded}


def test_a_bare_number_is_named_by_its_topic() -> None:
    messages = every_five("boathouse/a1/temp", "24,6 °C")
    heard = one(messages)
    assert entries(heard) == [
        {
            "tank": "A1",
            "quantity": "temperature",
            "topic": "boathouse/a1/temp",
            "format": "plain",
            "unit": "°C",
            "every": "5 s",
        }
    ]
    assert read_back(heard, messages[0]) == {"temperature": 24.6}
    assert (heard.messages, heard.latest) == (10, '"24,6 °C"')


def test_a_document_gives_a_probe_for_each_number_that_can_be_named() -> None:
    document = {
        "time": "2026-03-01T11:59:58Z",
        "water": {"tempC": 24.6, "pH": 5.31, "EC": 48},
        "battery": 3.1,
        "rssi": -71,
        "name": "B6",
    }
    messages = every_five("boathouse/b6", document)
    heard = one(messages)
    assert [(entry["quantity"], entry["pointer"]) for entry in entries(heard)] == [
        ("temperature", "/water/tempC"),
        ("ph", "/water/pH"),
        ("conductivity", "/water/EC"),
    ]
    assert {entry["time_pointer"] for entry in entries(heard)} == {"/time"}
    assert {entry["tank"] for entry in entries(heard)} == {"B6"}
    assert heard.others == ("/battery", "/rssi")
    assert read_back(heard, messages[0]) == {"temperature": 24.6, "ph": 5.31, "conductivity": 48}


def test_a_batch_gives_one_entry_for_all_its_elements() -> None:
    batch = [{"ts": NOON / 1000 - back, "temperature": 24 + back / 10} for back in (10, 5, 0)]
    messages = every_five("boathouse/a2/batch", batch)
    (entry,) = entries(one(messages))
    assert (entry["pointer"], entry["time_pointer"]) == ("/temperature", "/ts")
    assert read_back(one(messages), messages[0]) == {"temperature": 24.0}


def test_a_pack_gives_a_probe_for_each_name() -> None:
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "acid", "u": "pH", "v": 6.8},
        {"n": "label", "vs": "Machine Room"},
    ]
    messages = every_five("boathouse/a1", pack)
    heard = one(messages)
    assert [(entry["quantity"], entry["name"]) for entry in entries(heard)] == [
        ("temperature", "urn:dev:ow:10e2073a01080063:temp"),
        ("ph", "urn:dev:ow:10e2073a01080063:acid"),
    ]
    assert read_back(heard, messages[0]) == {"temperature": 23.1, "ph": 6.8}


def test_what_cannot_be_told_is_left_to_the_keeper() -> None:
    heard = one([said("sensors/xyz/value", "24.6")])
    text = heard.probes[0].toml()
    assert 'tank = ""  # fill in' in text
    assert 'quantity = ""  # fill in: temperature, ph' in text
    assert "heard too seldom" in text
    assert tomllib.loads(text)["probe"][0]["topic"] == "sensors/xyz/value"


def test_a_topic_without_numbers_says_why() -> None:
    (state, word) = survey([said("a/state", {"on": True}), said("a/word", "online")])
    assert state.probes == ()
    assert state.why == "no number in it that a probe could measure"
    assert word.why.startswith("not a number")
    assert word.latest == '"online"'


def test_retained_messages_do_not_tell_how_often_it_speaks() -> None:
    old = said("boathouse/a1/temp", "24.6", retained=True)
    heard = one([old, *(said("boathouse/a1/temp", "24.6", 100 + 60 * n) for n in range(4))])
    assert heard.retained == 1
    assert heard.every_ms == span_ms_of("1 min")


@pytest.mark.parametrize(
    ("unit", "words", "quantity"),
    [
        ("°C", [], Quantity.TEMPERATURE),
        ("Cel", ["ph"], Quantity.TEMPERATURE),
        ("mg/L", ["oxygen"], Quantity.OXYGEN),
        ("mg/L", ["nh4"], Quantity.AMMONIA_TOTAL),
        ("mg/L", [], None),
        ("", ["waterTemp"], Quantity.TEMPERATURE),
        ("", ["water_temperature"], Quantity.TEMPERATURE),
        ("", ["28-0316a2b4ff01"], Quantity.TEMPERATURE),
        ("", ["value", "ph"], Quantity.PH),
        ("", ["graph"], None),
        ("", ["second", "dose"], None),
        ("bar", ["temp"], None),
    ],
)
def test_a_quantity_is_guessed_from_unit_and_words(
    unit: str, words: list[str], quantity: Quantity | None
) -> None:
    assert quantity_of(unit, words) is quantity


@pytest.mark.parametrize(
    ("words", "tanks", "tank"),
    [
        (["boathouse", "a1", "temp"], TANKS, "A1"),
        (["tank-b6"], TANKS, "B6"),
        (["Tank_A2"], TANKS, "A2"),
        (["c9"], TANKS, ""),
        (["boathouse", "c9"], (), "C9"),
        (["temp"], (), ""),
    ],
)
def test_a_tank_is_recognised_by_its_id(
    words: list[str], tanks: tuple[str, ...], tank: str
) -> None:
    assert tank_of(words, tanks) == tank


leaves = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=6)
values = st.recursive(
    leaves,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["temp", "ph", "t", "n", "v", "a/b", "~"]), inner)
    ),
    max_leaves=10,
)


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.text(min_size=1, max_size=10).filter(lambda topic: "\0" not in topic),
            st.binary(max_size=60) | values.map(lambda value: json.dumps(value).encode()),
        ),
        max_size=5,
    )
)
def test_any_messages_are_surveyed_and_every_entry_is_valid_toml(
    spoken: list[tuple[str, bytes]],
) -> None:
    for heard in survey([said(topic, payload) for topic, payload in spoken]):
        assert heard.latest.isprintable()
        for entry in entries(heard):
            assert entry["topic"] == heard.topic
            Binding(
                topic=entry["topic"],
                probe="p",
                quantity=Quantity(entry["quantity"] or "ph"),
                pointer=entry.get("pointer", ""),
                time_pointer=entry.get("time_pointer", ""),
            )


def test_a_battery_beside_a_probe_that_names_itself_is_not_taken_for_it() -> None:
    heard = one([said("house/ph", {"ph": 6.5, "battery": 88})])
    assert [(probe.pointer, probe.quantity) for probe in heard.probes] == [("/ph", Quantity.PH)]
    assert heard.others == ("/battery",)
