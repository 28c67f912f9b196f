"""What changes reaches an open page, once, in order, and after a sleep."""

import asyncio
import json
from collections.abc import AsyncIterator
from dataclasses import replace

from tests.views.room_of_glass import GlassLive, GlassRecords, alarm, usual

from roewatch.alarms.alarm import State
from roewatch.room.kind import Kind
from roewatch.room.quantity import Quantity
from roewatch.views.sight import Lookout, Sight
from roewatch.views.stream import REMEMBERED, Drawn, Stream

WAIT_S = 10.0


def draw(sight: Sight) -> Drawn:
    """A page so small that a test can read it."""
    return Drawn(
        strip=f"{len(sight.unacknowledged)} new",
        cells={s.tank.id: s.word for s in sight.standings},
        news={a.number: a.tank for a in sight.unacknowledged},
    )


def glass() -> tuple[GlassRecords, GlassLive, Stream]:
    records, live, _ = usual()
    records.kept_alarms = []
    return records, live, Stream(Lookout(records, live), live, draw)


def ring(records: GlassRecords, live: GlassLive, number: int, tank: str = "A5") -> None:
    records.kept_alarms.append(
        alarm(number, tank, Kind.ABOVE_WINDOW, quantity=Quantity.PH, value=7.0)
    )
    live.bump()


async def next_event(events: AsyncIterator[str]) -> dict[str, str]:
    """The next event that is not a sign of life."""
    async with asyncio.timeout(WAIT_S):
        async for text in events:
            if text.startswith((":", "retry")):
                continue
            return dict(line.split(": ", 1) for line in text.strip().splitlines())
    raise AssertionError("the stream ended")


def test_a_change_reaches_the_page_with_only_what_changed() -> None:
    records, live, stream = glass()

    async def play() -> None:
        seen = stream.publish(Lookout(records, live).look())
        events = stream.listen(seen)
        waiting = asyncio.create_task(next_event(events))
        ring(records, live, 7)
        event = await waiting
        body = json.loads(event["data"])
        assert event["event"] == "room"
        assert body == {"strip": "1 new", "cells": {"A5": "pH above"}, "news": ["A5"]}
        await events.aclose()  # type: ignore[attr-defined]

    asyncio.run(play())


def test_a_page_that_slept_gets_everything_it_missed_at_once() -> None:
    records, live, stream = glass()
    lookout = Lookout(records, live)
    seen = stream.publish(lookout.look())
    ring(records, live, 7)
    stream.publish(lookout.look())
    records.replace_alarm(7, state=State.ACKNOWLEDGED)
    ring(records, live, 8, "A2")
    latest = stream.publish(lookout.look())

    async def play() -> None:
        events = stream.listen(seen)
        event = await next_event(events)
        body = json.loads(event["data"])
        assert event["id"] == latest
        assert set(body["cells"]) == {"A5", "A2"}
        assert body["news"] == ["A5", "A2"]
        await events.aclose()  # type: ignore[attr-defined]

    asyncio.run(play())


def test_a_page_from_another_life_of_the_program_is_told_to_load_again() -> None:
    _, _, stream = glass()

    async def play() -> None:
        for last in ("00000000-4", "", "-", "nonsense", "é-²"):
            events = stream.listen(last)
            assert (await next_event(events))["event"] == "reload", last
            await events.aclose()  # type: ignore[attr-defined]

    asyncio.run(play())


def test_a_page_that_slept_too_long_is_told_to_load_again() -> None:
    records, live, stream = glass()
    lookout = Lookout(records, live)
    seen = stream.publish(lookout.look())
    for number in range(REMEMBERED + 1):
        records.kept_alarms = [
            replace(alarm(1, "A5", Kind.ABOVE_WINDOW, quantity=Quantity.PH), number=number)
        ]
        stream.publish(lookout.look())

    async def play() -> None:
        events = stream.listen(seen)
        assert (await next_event(events))["event"] == "reload"
        await events.aclose()  # type: ignore[attr-defined]

    asyncio.run(play())


def test_nothing_new_is_no_change() -> None:
    records, live, stream = glass()
    lookout = Lookout(records, live)
    assert stream.publish(lookout.look()) == stream.publish(lookout.look())


def test_many_pages_share_one_look_and_when_the_last_closes_nobody_looks() -> None:
    records, live, stream = glass()
    looks = 0
    real = records.latest

    def counted() -> dict[str, object]:
        nonlocal looks
        looks += 1
        return real()  # type: ignore[return-value]

    records.latest = counted  # type: ignore[method-assign,assignment]

    async def play() -> None:
        nonlocal looks
        seen = stream.publish(Lookout(records, live).look())
        looks = 0
        pages = [stream.listen(seen) for _ in range(50)]
        waiting = [asyncio.create_task(next_event(page)) for page in pages]
        await asyncio.wait([asyncio.create_task(asyncio.to_thread(ring, records, live, 7))])
        heard = await asyncio.gather(*waiting)
        assert len({event["id"] for event in heard}) == 1
        assert looks <= 3
        for page in pages:
            await page.aclose()  # type: ignore[attr-defined]
        task = stream._watching
        assert task is not None
        live.bump()
        async with asyncio.timeout(WAIT_S + 5):
            await task

    asyncio.run(play())
