"""Broods on paper: the report, the brood sheet and the sitter's sheet."""

import re

import pypdfium2
from starlette.testclient import TestClient
from tests.views.reader import client_of, words
from tests.views.room_of_broods import Nursery, record
from tests.views.room_of_glass import NOW

from roewatch.breeding.record import BroodAct
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS


def test_the_report_tells_the_whole_brood_and_asks_for_nothing_outside(keeper: TestClient) -> None:
    answer = keeper.get("/broods/2026-11/report")
    assert answer.status_code == 200
    page = answer.text
    assert re.findall(r'(?:src|href)="[^#][^"]*', page) == ['href="/broods/2026-11']  # the way back
    assert "url(http" not in page
    text = words(page)
    for part in ("Course", "Counts", "Meant, and how it came", "Readings", "Alarms"):
        assert part in text
    assert "white eggs" in text
    assert "free-swimming, as told" in text
    assert page.count("<figure") == 2
    assert "<s>" in page
    assert "style-src 'sha256-" in answer.headers["content-security-policy"]


def test_the_report_as_a_pdf_holds_the_same_words_on_pages_of_a4(keeper: TestClient) -> None:
    answer = keeper.get("/broods/2026-11/report.pdf")
    assert answer.status_code == 200
    document = pypdfium2.PdfDocument(answer.content)
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    assert "Brood 2026-11" in text
    assert "Meant, and how it came" in text
    assert {tuple(round(x) for x in page.get_size()) for page in document} == {(595, 842)}
    assert len(document) <= 4


def test_the_stage_entered_as_it_ended_is_not_drawn_back_over_the_one_before(room: Nursery) -> None:
    records, _, _, broods = room
    ended = NOW - 10 * DAY_MS
    records.entries += [
        JournalEntry(at_ms=NOW - 40 * DAY_MS, tank="A2", deed=Deed.STAGE, detail="fry"),
        JournalEntry(at_ms=ended, tank="A2", deed=Deed.STAGE, detail="growing"),
    ]
    broods.record(
        [
            record("2026-9", BroodAct.STARTED, NOW - 39 * DAY_MS, tank="A2"),
            record("2026-9", BroodAct.ENDED, ended, fields={"outcome": "reared"}),
        ]
    )
    with client_of(room) as keeper:
        text = words(keeper.get("/broods/2026-9/report").text)
    assert "A2 fry, 4 Oct" in text
    assert "A2 growing" not in text


def test_every_id_within_a_report_is_there_once(keeper: TestClient) -> None:
    ids = re.findall(r' id="([^"]+)"', keeper.get("/broods/2026-11/report").text)
    assert len(ids) == len(set(ids))


def test_the_sitters_sheet_names_each_tank_what_it_eats_and_whom_to_call(
    keeper: TestClient,
) -> None:
    page = keeper.get("/sitter").text
    text = words(page)
    for tank in ("A1", "A5", "A6", "B6"):
        assert f"{tank} {tank[0]}, shelf" in text
    assert "Whom to call" in text
    row = text[text.index("A5 A, shelf") : text.index("A6 A, shelf")]
    assert "no food" in row
    assert "until" in row
    assert "Unplug heater and pump first" in text


def test_the_brood_sheet_says_what_is_due(keeper: TestClient) -> None:
    text = words(keeper.get("/broods/2026-14/sheet").text)
    assert "☐" in text
    assert "Take white eggs out" in text
