"""The acknowledge link: good once, for one raise of one alarm, for one person, for a while."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.alarms.boathouse import KEEPER, NOON, alarm, boathouse, found, over

from roewatch.alarms.alarm import State
from roewatch.alarms.alarm_settings import STANDARD
from roewatch.alarms.book import AlarmBook
from roewatch.alarms.telling import Teller
from roewatch.alarms.telling_settings import TellingSettings
from roewatch.alarms.token import Claim, Unusable, check_claim, make_token, read_token
from roewatch.room.kind import Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS

KEY = b"0123456789abcdef0123456789abcdef"


def token(issued_ms: int = NOON) -> str:
    return make_token(KEY, alarm(), by="Keeper", issued_ms=issued_ms, lives_ms=DAY_MS)


def test_it_says_who_may_acknowledge_what_and_until_when() -> None:
    claim = read_token(KEY, token(), NOON + HOUR_MS)
    assert claim == Claim(
        number=42, episode=1, by="Keeper", issued_ms=NOON, expires_ms=NOON + DAY_MS
    )
    check_claim(claim, alarm())


def test_it_fits_into_an_address_without_being_written_differently() -> None:
    text = make_token(KEY, alarm(), by="Hüljes & Söber/2", issued_ms=NOON, lives_ms=DAY_MS)
    assert all(c.isascii() and (c.isalnum() or c in "-_.") for c in text)
    assert read_token(KEY, text, NOON).by == "Hüljes & Söber/2"
    assert len(text) < 160


def test_it_expires() -> None:
    read_token(KEY, token(), NOON + DAY_MS - 1)
    with pytest.raises(Unusable, match="expired"):
        read_token(KEY, token(), NOON + DAY_MS)


@settings(deadline=None)  # a busy machine is no failure
@given(st.data())
def test_a_token_changed_anywhere_is_not_ours(data: st.DataObject) -> None:
    good = token()
    place = data.draw(st.integers(0, len(good) - 1))
    letter = data.draw(st.characters(codec="utf-8", exclude_characters=good[place]))
    try:
        claim = read_token(KEY, good[:place] + letter + good[place + 1 :], NOON)
    except Unusable:
        return
    # base64 leaves unused bits in a last letter: the same bytes, so the same claim
    assert claim == read_token(KEY, good, NOON)


@settings(deadline=None)  # a busy machine is no failure
@given(st.text(max_size=200))
def test_any_other_text_is_refused_in_words(text: str) -> None:
    with pytest.raises(Unusable):
        read_token(KEY, text, NOON)


def test_another_key_does_not_open_it_and_a_short_key_makes_none() -> None:
    with pytest.raises(Unusable, match="not made here"):
        read_token(b"another key of length 16+", token(), NOON)
    with pytest.raises(ValueError, match="16 random bytes"):
        make_token(b"short", alarm(), by="Keeper", issued_ms=NOON, lives_ms=DAY_MS)


def test_it_is_spent_by_what_it_does() -> None:
    book = AlarmBook(boathouse())
    book.take(found())
    made = make_token(KEY, book.alarm(1), by="Keeper", issued_ms=NOON, lives_ms=DAY_MS)
    claim = read_token(KEY, made, NOON + MINUTE_MS)
    check_claim(claim, book.alarm(1))
    check_claim(claim, book.alarm(1))  # looking changes nothing
    book.acknowledge(1, claim.by, NOON + MINUTE_MS)
    with pytest.raises(Unusable, match="Keeper has it"):
        check_claim(claim, book.alarm(1))
    asks_again_ms = STANDARD.realarm_ms[Priority.HIGH]
    book.advance(NOON + MINUTE_MS + asks_again_ms)  # it asks again: that needs a new look
    assert book.alarm(1).state is State.UNACKNOWLEDGED
    with pytest.raises(Unusable, match="raised again"):
        check_claim(claim, book.alarm(1))


def test_what_is_over_but_unseen_can_still_be_acknowledged_and_a_new_raise_cannot() -> None:
    book = AlarmBook(boathouse())
    book.take(found())
    made = make_token(KEY, book.alarm(1), by="Keeper", issued_ms=NOON, lives_ms=DAY_MS)
    claim = read_token(KEY, made, NOON)
    book.take(over(at_ms=NOON + HOUR_MS))
    check_claim(claim, book.alarm(1))
    book.take(found(at_ms=NOON + 2 * HOUR_MS))
    with pytest.raises(Unusable, match="raised again"):
        check_claim(claim, book.alarm(1))
    book.take(over(at_ms=NOON + 3 * HOUR_MS))
    with pytest.raises(Unusable, match="raised again"):
        check_claim(claim, book.alarm(1))
    with pytest.raises(Unusable, match="back to normal"):
        check_claim(claim, None)


def test_a_message_about_one_alarm_carries_a_link_that_works_and_no_secret() -> None:
    room = boathouse()
    book = AlarmBook(room)
    settings = TellingSettings(
        high_wait_ms=0, link="https://boathouse.example", token_key=KEY, well_at_min=None
    )
    teller = Teller(room, (KEEPER,), settings=settings)
    phone, _ = teller.take(book.take(found()), NOON)
    before, _, made = phone.link.rpartition("/")
    assert before == "https://boathouse.example/acknowledge"
    check_claim(read_token(KEY, made, NOON), book.alarm(1))
    assert KEY.decode() not in json.dumps([phone.link, phone.body, teller.state()])
