"""A month of the Boathouse with what a month brings: every message, and the performance report.

    python -m tests.bench.month_of_alarms [--days 31] [--seed 4] [--quiet-month]

Twelve simulated tanks, judged and told as the daemon would, by event time. The keeper
answers a high alarm six minutes after it calls, at night after fifteen; anything else within two
hours, by day. With --quiet-month nothing breaks, and what still calls is a false alarm.
"""

import argparse
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

from tests.judging.rooms import Event, room_of

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.contact import Contact
from roewatch.alarms.notice import Notice
from roewatch.alarms.performance import performance_of, performance_text
from roewatch.alarms.post import RAISING
from roewatch.alarms.telling import Teller
from roewatch.intake.decode import Ahead
from roewatch.judging.judge import Judge
from roewatch.room.journal import JournalEntry
from roewatch.room.kind import Priority
from roewatch.room.local_time import local_clock, local_minute, month_span
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.reading import Reading
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.room import SimRoom

ZONE = "Europe/Tallinn"
LEARNING_MS = 7 * DAY_MS  # before the month, so that every thermostat is known
KEEPER = Contact(
    name="Keeper",
    ways=("Keeper/phone", "Keeper/mail"),
    quiet_from_min=22 * 60,
    quiet_to_min=7 * 60,
)
STAND_IN = Contact(name="Stand-in", ways=("Stand-in/phone",), lowest=Priority.HIGH)

# day of the month, hour of the day, what, where, for how many hours
BREAKS = (
    (3, 14, FaultKind.PROBE_SILENT, "B2", 1.0),
    (5, 11, FaultKind.PROBE_PATCHY, "B5", 40.0),
    (9, 2, FaultKind.HEATER_DEAD, "A3", 5.0),
    (12, 16, FaultKind.PROBE_SILENT, "B2", 7.0),
    (15, 4, FaultKind.POWER_CUT, "", 2.5),
    (20, 13, FaultKind.HEATER_STUCK_ON, "B1", 3.0),
    (24, 9, FaultKind.LID_OPEN, "A6", 30.0),
    (27, 20, FaultKind.PH_CRASH, "B4", 14.0),
)


class Keeper:
    """Answers what calls, in their own time."""

    def __init__(self) -> None:
        self._due: dict[int, int] = {}

    def hear(self, notices: list[Notice]) -> None:
        """A message came; an answer follows."""
        for notice in notices:
            if notice.about not in RAISING:
                continue
            night = not 7 * 60 <= local_minute(notice.made_ms, ZONE) < 22 * 60
            wait_ms = (15 if night else 6) * MINUTE_MS
            if notice.priority is not Priority.HIGH:
                wait_ms = 2 * HOUR_MS
            for number in notice.alarms:
                self._due.setdefault(number, notice.made_ms + wait_ms)

    def answer(self, book: AlarmBook, now_ms: int) -> list[AlarmChange]:
        """What is acknowledged by now."""
        changes: list[AlarmChange] = []
        for alarm in book.open():
            due_ms = self._due.get(alarm.number, now_ms + 1)
            waits = alarm.state in {State.UNACKNOWLEDGED, State.RETURNED}
            if waits and now_ms >= due_ms:
                changes += book.acknowledge(alarm.number, "Keeper", now_ms)
                self._due.pop(alarm.number, None)
        return changes


def main() -> None:
    """Play the month and print what it was like."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=31)
    asked.add_argument("--seed", type=int, default=4)
    asked.add_argument("--quiet-month", action="store_true")
    options = asked.parse_args()
    from_ms, month_end_ms = month_span(2026, 3, ZONE)
    to_ms = min(month_end_ms, from_ms + options.days * DAY_MS)
    sim = boathouse(options.seed, from_ms - LEARNING_MS)
    if not options.quiet_month:
        for day, hour, kind, tank, hours in BREAKS:
            at_ms = from_ms + (day - 1) * DAY_MS + hour * HOUR_MS
            if at_ms < to_ms:
                until_ms = at_ms + int(hours * HOUR_MS)
                sim.inject(SimFault(kind, tank, at_ms, until_ms))
    began_s = time.monotonic()
    changes, notices, readings = play(sim, from_ms, to_ms)
    print(f"{readings} readings in {time.monotonic() - began_s:.0f} s\n")
    for notice in notices:
        if notice.way == "Keeper/phone":
            at = local_clock(notice.made_ms, ZONE, 0)
            print(f"{at:>17}  {notice.about:<11} {notice.priority:<6} {notice.title}")
    print("\nby way:", dict(Counter(notice.way for notice in notices)), "\n")
    figures = performance_of(changes, notices, from_ms=from_ms, to_ms=to_ms, zone=ZONE)
    print(performance_text(figures))


def play(sim: SimRoom, from_ms: int, to_ms: int) -> tuple[list[AlarmChange], list[Notice], int]:
    """Judge and tell the whole span; alarms count from `from_ms`, before it is only learned."""
    room = replace(room_of(sim), zone=ZONE)
    judge, book = Judge(room, start_ms=sim.clock_ms), AlarmBook(room)
    teller, keeper = Teller(room, (KEEPER, STAND_IN)), Keeper()
    changes: list[AlarmChange] = []
    notices: list[Notice] = []
    next_ms, readings = from_ms, 0

    def told(new: list[AlarmChange], now_ms: int) -> None:
        changes.extend(new)
        said = teller.take(new, now_ms)
        notices.extend(said)
        keeper.hear(said)

    for event in events_until(sim, to_ms):
        if isinstance(event, JournalEntry):
            findings = judge.enter(event)
        elif isinstance(event, Ahead):
            judge.note_ahead(*event)
            continue
        else:
            findings = list(judge.take(event).findings)
            readings += 1
        if event.at_ms < from_ms:
            continue
        for finding in findings:
            told(book.take(finding), event.at_ms)
        while event.at_ms >= next_ms:
            told(book.advance(next_ms), next_ms)
            told(keeper.answer(book, next_ms), next_ms)
            said = teller.advance(next_ms)
            notices.extend(said)
            keeper.hear(said)
            next_ms += 30_000
    return changes, notices, readings


def events_until(sim: SimRoom, to_ms: int) -> Iterator[Event]:
    """Readings and journal in the order the daemon meets them."""
    entered = 0
    for sample in sim.run(to_ms):
        while entered < len(sim.journal):
            yield sim.journal[entered]
            entered += 1
        yield Reading(f"{sample.tank}-{sample.quantity}", sample.at_ms, sample.value)


if __name__ == "__main__":
    main()
