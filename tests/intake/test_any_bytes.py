"""No bytes whatever make decoding raise, and what it gives back is always a sane reading."""

import json
import math
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.intake.binding import Binding, Format
from roewatch.intake.decode import decode
from roewatch.intake.own_time import AHEAD_MS, EARLIEST_MS
from roewatch.intake.refusals import RefusalLog
from roewatch.room.moment import at_ms_of_iso
from roewatch.room.quantity import KEPT, Quantity

NOON = at_ms_of_iso("2026-03-01T12:00:00Z")

json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.sampled_from(["v", "t", "a", "0", "", "~"]), inner, max_size=4)
    ),
    max_leaves=12,
)
senml_records = st.fixed_dictionaries(
    {},
    optional={
        "bn": st.sampled_from(["dev:", "dev/", ""]),
        "n": st.sampled_from(["temp", "ph", ""]) | st.integers(),
        "bt": st.floats() | st.just(NOON / 1000),
        "t": st.floats(-1e6, 1e6) | st.integers(),
        "bu": st.sampled_from(["Cel", "pH", "", "lon"]),
        "u": st.sampled_from(["Cel", "K", "pH", "%RH"]) | st.text(max_size=3),
        "v": st.floats() | st.integers() | st.booleans(),
        "bv": st.floats(),
        "s": st.floats(),
        "vs": st.text(max_size=3),
        "bver": st.integers(0, 12),
    },
)
payloads = (
    st.binary(max_size=200)
    | st.text(max_size=60).map(lambda text: text.encode(errors="surrogatepass"))
    | st.from_regex(rb"[+-]?[0-9]{0,5}[.,]?[0-9]{0,3} ?(\xc2\xb0C|F|K|mV)?\x00?", fullmatch=True)
    | json_values.map(lambda value: json.dumps(value).encode())
    | st.lists(senml_records, max_size=5).map(lambda pack: json.dumps(pack).encode())
)
bindings = st.lists(
    st.builds(
        lambda quantity, number, format_, pointer, time_pointer, name: Binding(
            topic="t",
            probe=f"{quantity}-{number}",
            quantity=quantity,
            format=format_,
            pointer=pointer,
            time_pointer=time_pointer,
            name=name,
        ),
        st.sampled_from(Quantity),
        st.integers(0, 99),
        st.sampled_from(Format),
        st.sampled_from(["", "/v", "/0/v", "/a/v", "/", "/~0"]),
        st.sampled_from(["", "/t", "/0/t"]),
        st.sampled_from(["", "temp", "dev:temp", "ph"]),
    ),
    max_size=3,
    unique_by=lambda binding: binding.probe,
)


@settings(deadline=None)
@given(payloads, bindings, st.booleans())
def test_any_payload_gives_sane_readings_and_counted_refusals(
    payload: bytes, several: list[Binding], retained: bool
) -> None:
    decoded, refused = decode("t", payload, several, arrival_ms=NOON, retained=retained)
    assert len(refused) <= max(len(several), 1)
    for reading in decoded:
        assert math.isfinite(reading.raw)
        assert EARLIEST_MS <= reading.at_ms <= NOON + AHEAD_MS
        assert reading.own_time or not retained
        assert reading.probe in {binding.probe for binding in several}
    moments = [(reading.probe, reading.at_ms) for reading in decoded]
    assert len(moments) == len(set(moments))
    if not decoded and not retained:
        assert refused
    counting = RefusalLog()
    for refusal in refused:
        assert refusal.example.isprintable()
        assert len(refusal.example) < 600
        refusal.why.encode()
        counting.refused(refusal)
    assert counting.total == len(refused)


@settings(deadline=None)
@given(
    st.floats(-1e6, 1e6, allow_nan=False).map(lambda value: round(value, 4)),
    st.sampled_from([".", ","]),
    st.sampled_from(["", " "]),
)
def test_a_written_number_comes_back_as_it_was(value: float, sign: str, gap: str) -> None:
    for quantity in Quantity:
        text = f"{value:.4f}{gap}{KEPT[quantity].unit}".replace(".", sign, 1)
        binding = Binding(topic="t", probe="p", quantity=quantity)
        decoded, refused = decode("t", text.encode(), [binding], arrival_ms=NOON, retained=False)
        assert refused == []
        assert decoded[0].raw == value


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 10**6), st.floats(-50, 150)), min_size=1, max_size=30))
def test_a_batch_says_the_same_as_its_messages_one_by_one(points: list[tuple[int, float]]) -> None:
    binding = Binding(
        topic="t",
        probe="p",
        quantity=Quantity.TEMPERATURE,
        format=Format.JSON,
        pointer="/v",
        time_pointer="/t",
    )
    messages: list[Any] = [{"t": NOON - back * 1000, "v": value} for back, value in points]

    def read(value: object) -> dict[int, float]:
        decoded, _ = decode(
            "t", json.dumps(value).encode(), [binding], arrival_ms=NOON, retained=False
        )
        return {one.at_ms: one.raw for one in decoded}

    singly: dict[int, float] = {}
    for message in messages:
        for at_ms, raw in read(message).items():
            singly.setdefault(at_ms, raw)
    assert read(messages) == singly
