"""What has been told survives as text, also from another version of this program."""

import json

import pytest
from tests.alarms.boathouse import KEEPER, NOON, boathouse, found, leaves_in, power_cut

from roewatch.alarms.book import AlarmBook
from roewatch.alarms.telling import Teller
from roewatch.alarms.told import Ledger
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS, MINUTE_MS


def kept() -> str:
    """A teller's state with an alarm told, one waiting, one for the digest and one failing."""
    room = boathouse()
    book, teller = AlarmBook(room), Teller(room, (KEEPER,))
    teller.advance(NOON - HOUR_MS)
    teller.take(book.take(found(forecast=leaves_in(HOUR_MS))), NOON)
    teller.advance(NOON + MINUTE_MS)
    teller.take(book.take(found("A2", Kind.HEATER_WORKS_HARDER)), NOON + MINUTE_MS)
    teller.take(book.take(power_cut(NOON + MINUTE_MS)), NOON + MINUTE_MS)
    return teller.state()


def test_it_reads_back_as_it_was() -> None:
    text = kept()
    assert Ledger.of(text).text() == text
    assert Ledger.of(text) == Ledger.of(Ledger.of(text).text())


def test_what_a_newer_version_added_is_left_out_and_the_rest_kept() -> None:
    raw = json.loads(kept())
    for row in (*raw["alarms"].values(), *raw["lines"].values(), *raw["sent"].values()):
        row["mood"] = "new"
    for row in raw["alarms"].values():
        row["alarm"]["mood"] = "new"
    raw["moods"] = []
    assert Ledger.of(json.dumps(raw)).text() == kept()


@pytest.mark.parametrize("text", ["", "nonsense", "[]", "{}", '{"alarms": {"1": 2}}', "null"])
def test_anything_else_is_refused_as_one_kind_of_error(text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        Ledger.of(text)
