"""Payloads no probe should send: random and mutated, through decoding and the refusal log."""

import json
import logging
import math
import random
import time
from collections import Counter
from collections.abc import Callable

from roewatch.intake.binding import Binding, Format, by_topic
from roewatch.intake.decode import Decoded, Refused, decode
from roewatch.intake.own_time import AHEAD_MS, EARLIEST_MS
from roewatch.intake.refusals import RefusalLog
from roewatch.room.moment import at_ms_of_iso
from roewatch.room.quantity import Quantity

NOON = at_ms_of_iso("2026-03-01T12:00:00Z")
Make = Callable[[random.Random], bytes]

BINDINGS = [
    Binding(topic="plain", probe="plain", quantity=Quantity.TEMPERATURE),
    Binding(topic="plain-f", probe="plain-f", quantity=Quantity.TEMPERATURE, unit="F"),
    *(
        Binding(
            topic="json",
            probe=f"json-{quantity}",
            quantity=quantity,
            format=Format.JSON,
            pointer=pointer,
            time_pointer="/t",
        )
        for quantity, pointer in (
            (Quantity.TEMPERATURE, "/water/temp"),
            (Quantity.PH, "/water/ph"),
        )
    ),
    Binding(
        topic="batch",
        probe="batch",
        quantity=Quantity.CONDUCTIVITY,
        format=Format.JSON,
        pointer="/v",
        time_pointer="/t",
    ),
    *(
        Binding(
            topic="pack", probe=f"pack-{name}", quantity=quantity, format=Format.SENML, name=name
        )
        for quantity, name in ((Quantity.TEMPERATURE, "temp"), (Quantity.PH, "ph"))
    ),
]
TOPICS = ["plain", "plain-f", "json", "batch", "pack", "stranger"]


def number(rng: random.Random) -> str:
    shape = rng.choice(["{:.1f}", "{:.4f}", "{:e}", "{:g}", "{:+.2f}"])
    text = shape.format(rng.uniform(-200, 200))
    return text.replace(".", ",") if rng.random() < 0.2 else text


def plain(rng: random.Random) -> bytes:
    return (number(rng) + rng.choice(["", " °C", "C", " F", "K", " mV", "\r\n", "\0"])).encode()


def moment(rng: random.Random) -> object:
    back_s = rng.choice([0, rng.uniform(0, 1e5), rng.uniform(-1e5, 1e9)])
    seconds = NOON / 1000 - back_s
    return rng.choice(
        [seconds, int(seconds * 1000), int(seconds), "2026-03-01T11:20:00Z", "yesterday", None]
    )


def value(rng: random.Random) -> object:
    odd: list[object] = [
        None,
        True,
        "24,6",
        "24.6 °C",
        [],
        {},
        float("nan"),
        float("inf"),
        10**400,
        1e308,
    ]
    return rng.uniform(-50, 150) if rng.random() < 0.8 else rng.choice(odd)


def dumped(document: object) -> bytes:
    return json.dumps(document).encode()


def document(rng: random.Random) -> bytes:
    water = {"temp": value(rng), "ph": value(rng)}
    return dumped({"t": moment(rng), "water": water, "rssi": -71})


def batch(rng: random.Random) -> bytes:
    return dumped([{"t": moment(rng), "v": value(rng)} for _ in range(rng.randrange(12))])


def pack(rng: random.Random) -> bytes:
    records: list[dict[str, object]] = [{"bn": "dev:", "bt": rng.choice([0, NOON / 1000])}]
    records += [
        {"n": rng.choice(["temp", "ph"]), "u": rng.choice(["Cel", "pH", "lon"]), "t": -5 * place}
        | rng.choice([{"v": value(rng)}, {"vs": "x"}, {"s": 1}, {"v": 24.6, "bver": 11}])
        for place in range(rng.randrange(8))
    ]
    return dumped(records)


def noise(rng: random.Random) -> bytes:
    return rng.randbytes(rng.choice([0, 1, 2, 5, 20, 100, 400]))


def letters(rng: random.Random) -> bytes:
    signs = '0123456789.,+-eE{}[]":ntvu \\\0\ud800é°٣\n\x1b'
    text = "".join(rng.choices(signs, k=rng.randrange(40)))
    return text.encode("utf-8", errors="surrogatepass")


def deep(rng: random.Random) -> bytes:
    depth = rng.choice([10, 500, 900, 1000, 5000, 50_000])
    opening, closing = rng.choice([(b"[", b"]"), (b'{"v":', b"}"), (b'[{"v":', b"}]")])
    return opening * depth + b"1" + closing * (depth if rng.random() < 0.8 else 0)


def large(rng: random.Random) -> bytes:
    size = rng.choice([60_000, 1 << 20, (1 << 20) + 1, 3 << 20])
    return rng.choice([b"9", b" ", b"[", b'"', b'{"n":', b"\0", b"1,"]) * size


MAKERS: list[tuple[Make, str, float]] = [  # the topic it is meant for, and how often it is made
    (plain, "plain", 20),
    (plain, "plain-f", 5),
    (document, "json", 20),
    (batch, "batch", 10),
    (pack, "pack", 20),
    (noise, "", 10),
    (letters, "", 10),
    (deep, "", 0.3),
    (large, "", 0.02),
]


def mutated(payload: bytes, rng: random.Random) -> bytes:
    """A few bytes flipped, cut out, doubled or put in."""
    changed = bytearray(payload)
    for _ in range(rng.randrange(1, 5)):
        place = rng.randrange(len(changed) + 1)
        kind = rng.randrange(4)
        if kind == 0:
            changed[place:place] = rng.randbytes(rng.randrange(1, 4))
        elif kind == 1:
            del changed[place : place + rng.randrange(1, 6)]
        elif kind == 2:
            changed[place : place + 1] = bytes([rng.choice(b'0123456789.,"{}[]:-eE\0\xff')])
        else:
            changed[place:place] = changed[place : place + rng.randrange(1, 30)]
    return bytes(changed)


class LineCounter(logging.Handler):
    """Counts log lines, and formats each as a real handler would."""

    def __init__(self) -> None:
        super().__init__()
        self.count = 0

    def emit(self, record: logging.LogRecord) -> None:
        self.count += 1
        self.format(record).encode()


class Intake:
    """Decoding and the refusal log, and what has gone through them."""

    def __init__(self) -> None:
        self.lines = LineCounter()
        log = logging.getLogger("roewatch")
        log.addHandler(self.lines)
        log.setLevel(logging.INFO)
        log.propagate = False
        self.refusals = RefusalLog(topic_limit=50)
        self.counts: Counter[str] = Counter()
        self.slowest_s = 0.0
        self._bound = by_topic(BINDINGS)
        self._weights = [weight for *_, weight in MAKERS]

    def one(self, rng: random.Random) -> None:
        """Make one payload and read it. Raises AssertionError when what comes out is not sane."""
        ((make, topic, _),) = rng.choices(MAKERS, self._weights)
        payload = make(rng)
        if rng.random() < 0.5 and len(payload) < 5000:
            payload = mutated(payload, rng)
        if not topic or rng.random() < 0.1:
            topic = rng.choice(TOPICS)
        if topic == "stranger":
            topic = f"stranger/{rng.randrange(10_000)}"
        retained = rng.random() < 0.1
        began = time.process_time()
        try:
            decoded, refused = decode(
                topic, payload, self._bound.get(topic, ()), arrival_ms=NOON, retained=retained
            )
        except Exception as crash:
            crash.add_note(f"on {topic}: {payload[:300]!r}")
            raise
        self.slowest_s = max(self.slowest_s, time.process_time() - began)
        self._count(topic, decoded, refused)
        assert decoded or refused or retained, f"vanished: {topic} {payload[:300]!r}"
        for reading in decoded:
            sane = EARLIEST_MS <= reading.at_ms <= NOON + AHEAD_MS and math.isfinite(reading.raw)
            assert sane, f"not sane: {reading} from {payload[:300]!r}"

    def _count(self, topic: str, decoded: list[Decoded], refused: list[Refused]) -> None:
        for refusal in refused:
            self.refusals.refused(refusal)
        if decoded and not refused:
            self.refusals.accepted(topic)
        if not refused and not decoded:
            self.refusals.old_news()
        self.counts["readings"] += len(decoded)
        self.counts["refusals"] += len(refused)

    def settle(self) -> None:
        """At the end. Raises AssertionError if a refusal was lost in counting."""
        by_topics = sum(topic.count for topic in self.refusals.topics())
        assert self.refusals.total == by_topics == self.counts["refusals"]
        assert len(self.refusals.topics()) <= 51, "fifty topics, and one for the others"
