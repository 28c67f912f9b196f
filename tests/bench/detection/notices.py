"""Notices: what reaches the keeper's phone of all that was found, through alarms and telling.

Raw findings say little of the peace of a room: the alarm book joins what is the same, the teller
groups what comes together and keeps the small things for the day's summary. Played as in the month
of alarms, for a room in UTC: a keeper who acknowledges a high alarm 6 minutes after it calls, 15 at
night, and anything else after two hours; between 22 and 7 only high alarms call. He mends nothing:
every fault lasts as labelled, so he is asked again about what in life he would have put right.
"""

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from tests.bench.month_of_alarms import KEEPER, STAND_IN, Keeper

from roewatch.alarms.alarm import AlarmChange
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.notice import Notice
from roewatch.alarms.telling import Teller
from roewatch.judging.finding import Finding
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.tank import Room

PHONE = "Keeper/phone"


class Rung(NamedTuple):
    """How often the keeper's phone rang, by what each notice was about."""

    by_about: Counter[str]


def rung(room: Room, findings: Sequence[Finding], *, from_ms: int, days: int) -> Rung:
    """Tell what was found between `from_ms` and `days` later, and count what the phone got."""
    book, teller, keeper = AlarmBook(room), Teller(room, (KEEPER, STAND_IN)), Keeper()
    heard: list[Notice] = []

    def hear(notices: list[Notice]) -> None:
        heard.extend(notices)
        keeper.hear(notices)

    def tell(changes: list[AlarmChange], now_ms: int) -> None:
        hear(teller.take(changes, now_ms))

    waiting = iter(sorted(findings, key=lambda finding: finding.at_ms))
    finding = next(waiting, None)
    for now_ms in range(from_ms, from_ms + days * DAY_MS, MINUTE_MS):
        while finding is not None and finding.at_ms <= now_ms:
            tell(book.take(finding), now_ms)
            finding = next(waiting, None)
        tell(book.advance(now_ms), now_ms)
        tell(keeper.answer(book, now_ms), now_ms)
        hear(teller.advance(now_ms))
    mine = [notice for notice in heard if notice.way == PHONE]
    return Rung(Counter(str(notice.about) for notice in mine))
