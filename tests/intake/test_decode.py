"""Decoding: what a payload says, in the kept unit, at its moment; and what is refused."""

import json
import math

import pytest

from roewatch.intake.binding import Binding, Format
from roewatch.intake.decode import LARGEST, Ahead, Decoded, Refused, decode
from roewatch.room.moment import at_ms_of_iso
from roewatch.room.quantity import Quantity

NOON = at_ms_of_iso("2026-03-01T12:00:00Z")
EARLIER = at_ms_of_iso("2026-03-01T11:20:00Z")


def bound(
    format: Format = Format.PLAIN,  # noqa: A002 - the settings' own word
    quantity: Quantity = Quantity.TEMPERATURE,
    **more: str,
) -> Binding:
    more.setdefault("probe", "A1-temp")
    return Binding(topic="t", format=format, quantity=quantity, **more)


def read(
    payload: bytes | str | object, *bindings: Binding, retained: bool = False
) -> tuple[list[Decoded], list[Refused]]:
    if not isinstance(payload, bytes | str):
        payload = json.dumps(payload)
    raw = payload.encode() if isinstance(payload, str) else payload
    return decode("t", raw, bindings or (bound(),), arrival_ms=NOON, retained=retained)


def only(payload: bytes | str | object, *bindings: Binding) -> float:
    decoded, refused = read(payload, *bindings)
    assert refused == []
    (reading,) = decoded
    return reading.raw


def why(payload: bytes | str | object, *bindings: Binding, retained: bool = False) -> str:
    decoded, refused = read(payload, *bindings, retained=retained)
    assert decoded == []
    (one,) = refused
    return one.why


# plain


@pytest.mark.parametrize(
    ("payload", "celsius"),
    [
        ("24.6", 24.6),
        ("24,6", 24.6),
        (" 24.6\r\n", 24.6),
        ("+24.6", 24.6),
        ("-127", -127.0),
        (".5", 0.5),
        ("25.", 25.0),
        ("2.46e1", 24.6),
        ("24.6 °C", 24.6),
        ("24,6°C", 24.6),
        ("24.6 C", 24.6),
        ("24.6 Cel", 24.6),
        ("76.28 °F", 24.6),
        ("297.75 K", 24.6),
        (b"24.6 \xb0C", 24.6),  # a degree sign in Latin-1
        (b"24.6\0", 24.6),  # a C string with its terminator
        (b"\xef\xbb\xbf24.6", 24.6),  # a byte order mark
    ],
)
def test_a_bare_number_is_read_with_comma_or_point_and_its_unit(
    payload: bytes | str, celsius: float
) -> None:
    assert only(payload) == pytest.approx(celsius)


@pytest.mark.parametrize(
    "payload",
    [
        *("", "nan", "inf", "-", "24.6.3", "1,234.5", "1 234", "0x18", "24.6 bar", "twenty"),
        *("24_6", "1e999", "٢٤", b"\xff\xfe", b"\0\0", "9" * 65, "9" * 5000),
    ],
)
def test_what_is_not_one_finite_number_in_a_fitting_unit_is_refused(payload: bytes | str) -> None:
    assert why(payload).startswith("A1-temp: ")


def test_a_binding_says_the_unit_when_the_payload_does_not() -> None:
    fahrenheit = bound(unit="F")
    assert only("76.28", fahrenheit) == pytest.approx(24.6)
    assert only("24.6 °C", fahrenheit) == pytest.approx(24.6)


def test_a_plain_number_is_true_at_its_arrival() -> None:
    assert read("24.6") == ([Decoded("A1-temp", NOON, 24.6, own_time=False)], [])


# json


def test_a_pointer_finds_the_number_and_its_own_time() -> None:
    document = {"at": "2026-03-01T13:20:00+02:00", "water": {"a/b": [{"~t": 24.6}]}}
    binding = bound(Format.JSON, pointer="/water/a~1b/0/~0t", time_pointer="/at")
    assert read(document, binding) == ([Decoded("A1-temp", EARLIER, 24.6, own_time=True)], [])


@pytest.mark.parametrize(
    "given",
    [
        EARLIER / 1000,
        EARLIER,
        EARLIER * 1000,
        EARLIER * 1_000_000,
        "2026-03-01T11:20:00Z",
        "2026-03-01T11:20:00.000+00:00",
        "20260301T112000Z",
    ],
)
def test_an_own_time_is_iso_8601_or_a_count_since_1970(given: object) -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    assert read({"t": given, "v": 1}, binding)[0] == [Decoded("A1-temp", EARLIER, 1.0, True)]


@pytest.mark.parametrize(
    "given",
    [
        *("2026-03-01T12:06:00Z", "2000-01-01T00:00:30Z", "2026-03-01T11:20:00", "9" * 70),
        *(12345, 0, -5, 1e300, "soon", None, True, []),
    ],
)
def test_an_unbelievable_time_is_refused_and_the_number_kept_at_arrival(given: object) -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    decoded, refused = read({"t": given, "v": 24.6}, binding)
    assert decoded == [Decoded("A1-temp", NOON, 24.6, own_time=False)]
    assert "its own time" in refused[0].why


def test_a_clock_five_minutes_ahead_is_still_believed() -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    ahead = NOON + 5 * 60_000
    assert read({"t": ahead, "v": 1}, binding) == ([Decoded("A1-temp", ahead, 1.0, True)], [])
    assert read({"t": ahead + 1, "v": 1}, binding)[0] == [Decoded("A1-temp", NOON, 1.0, False)]


def test_how_far_a_clock_is_ahead_is_told_and_of_one_behind_nothing() -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    ahead = [refusal.ahead for refusal in read({"t": NOON + 3_600_000, "v": 1}, binding)[1]]
    assert ahead == [Ahead("A1-temp", NOON, 3_600_000)]
    for given in ("2000-01-01T00:00:30Z", "soon", "2107-01-01T00:00:00Z", 1e18):
        assert [refusal.ahead for refusal in read({"t": given, "v": 1}, binding)[1]] == [None]
    assert read({"t": NOON + 3_600_000, "v": 1}, binding, retained=True)[1][0].ahead is None


def test_a_number_in_quotes_is_read_as_written() -> None:
    assert only({"v": "24,6 °C"}, bound(Format.JSON, pointer="/v")) == 24.6


@pytest.mark.parametrize(
    ("payload", "part"),
    [
        ('{"v": null}', "null is not a number"),
        ('{"v": true}', "true or false is not a number"),
        ('{"v": {}}', "an object is not a number"),
        ('{"v": NaN}', "finite"),
        ('{"v": 1e999}', "finite"),
        ('{"v": ' + "9" * 400 + "}", "too large"),
        ('{"v": ' + "9" * 5000 + "}", "too many digits"),
        ('{"w": 1}', "nothing at /v"),
        ("7", "nothing at /v"),
        ('{"v": 1', "not JSON"),
        (b'{"v": "\xff"}', "not UTF-8"),
        ("[" * 100_000 + "]" * 100_000, "nested too deeply"),
        ('{"v":' * 50_000 + "1" + "}" * 50_000, "nested too deeply"),
        ("", "not JSON"),
    ],
)
def test_a_json_payload_without_the_number_is_refused(payload: bytes | str, part: str) -> None:
    assert part in why(payload, bound(Format.JSON, pointer="/v"))


def test_two_probes_share_a_topic_and_one_bad_number_does_not_spoil_the_other() -> None:
    warm = bound(Format.JSON, pointer="/temp")
    acid = bound(Format.JSON, Quantity.PH, pointer="/ph", probe="A1-ph")
    decoded, refused = read('{"temp": NaN, "ph": 5.31}', warm, acid)
    assert decoded == [Decoded("A1-ph", NOON, 5.31, own_time=False)]
    assert [one.why[:8] for one in refused] == ["A1-temp:"]


def test_an_array_of_objects_is_a_batch() -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    batch = [{"t": EARLIER + second * 1000, "v": 24 + second} for second in range(3)]
    decoded, refused = read([*batch, {"battery": 3.1}], binding)
    assert refused == []
    assert decoded == [
        Decoded("A1-temp", EARLIER + second * 1000, 24.0 + second, True) for second in range(3)
    ]


def test_a_pointer_that_starts_with_an_index_makes_no_batch() -> None:
    assert only([{"v": 1}, {"v": 2}], bound(Format.JSON, pointer="/1/v")) == 2


def test_a_batch_without_times_is_refused_because_nothing_says_which_is_now() -> None:
    assert "give each its own time" in why([1, 2, 3], bound(Format.JSON, pointer=""))


def test_a_batch_of_one_needs_no_time() -> None:
    assert only([{"v": 24.6}], bound(Format.JSON, pointer="/v")) == 24.6


def test_the_bad_entries_of_a_batch_are_one_refusal_and_the_good_ones_kept() -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    batch = [{"t": EARLIER, "v": 24.6}, {"t": 0, "v": 1}, {"t": NOON, "v": None}]
    decoded, refused = read(batch, binding)
    assert decoded == [Decoded("A1-temp", EARLIER, 24.6, True)]
    assert len(refused) == 1
    assert "(and 1 more in this message)" in refused[0].why


def test_of_two_numbers_for_one_moment_the_first_is_kept() -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    batch = [{"t": EARLIER, "v": 24.6}, {"t": EARLIER, "v": 24.6}, {"t": EARLIER, "v": 25}]
    decoded, refused = read(batch, binding)
    assert decoded == [Decoded("A1-temp", EARLIER, 24.6, True)]
    assert "two numbers for 2026-03-01T11:20:00Z: 24.6 is kept, 25 is not" in refused[0].why


# retained


def test_a_retained_message_without_its_own_time_is_old_news_and_no_refusal() -> None:
    assert read("24.6", retained=True) == ([], [])
    assert read({"v": 24.6}, bound(Format.JSON, pointer="/v"), retained=True) == ([], [])
    assert read([{"v": 24.6}], bound(Format.SENML), retained=True) == ([], [])


def test_a_retained_message_with_its_own_time_is_kept() -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    decoded, refused = read({"t": EARLIER, "v": 24.6}, binding, retained=True)
    assert (decoded, refused) == ([Decoded("A1-temp", EARLIER, 24.6, True)], [])


def test_a_retained_message_whose_time_is_unbelievable_is_refused() -> None:
    binding = bound(Format.JSON, pointer="/v", time_pointer="/t")
    assert "not believable" in why({"t": 1, "v": 24.6}, binding, retained=True)


# whole messages


def test_a_topic_no_probe_is_bound_to_is_refused() -> None:
    decoded, refused = decode("stranger", b"1", (), arrival_ms=NOON, retained=False)
    assert decoded == []
    assert refused == [Refused("stranger", "no probe is bound to this topic", '"1"')]


def test_a_payload_above_the_limit_is_refused_unread() -> None:
    binding = bound(Format.JSON, pointer="/v")
    whole = b'{"v": 24.6}'
    assert only(whole + b" " * (LARGEST - len(whole)), binding) == 24.6
    assert "larger than" in why(whole + b" " * (LARGEST + 1 - len(whole)), binding)


def test_the_example_is_short_and_cannot_forge_a_log_line() -> None:
    (refused,) = read(b"24.6\nERROR forged\x1b[31m" + b"x" * 5000)[1]
    assert refused.example.startswith('"24.6\\nERROR forged\\x1b[31mxxx')
    assert refused.example.endswith('"… (5022 bytes)')
    assert len(refused.example) < 120
    assert refused.example.isprintable()


def test_what_a_sender_wrote_is_safe_to_print_in_the_reason_too() -> None:
    names = bound(Format.SENML, name="a")
    reason = why(r'[{"n":"x\ud800\n\u001b[31m","u":"Cel","v":1}]', names)
    assert reason.isprintable()
    reason.encode()
    assert len(why([{"n": "a", "v": 1, "x" * 5000 + "_": 1}], names)) < 300
    assert why([{"n": "a", "u": "x" * 5000, "v": 1}], names).isprintable()
    padded = [{"n": "a", "u": "Cel" + " " * 5000, "v": 1}]
    assert "no record in a unit of temperature" in why(padded, names)


def test_a_number_that_overflows_in_the_kept_unit_is_refused() -> None:
    flow = bound(quantity=Quantity.FLOW)
    assert "finite" in why("9e307 m³/s", flow)
    assert math.isfinite(only("9e307 L/h", flow))
