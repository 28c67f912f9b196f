"""The pages of broods as a browser without scripts gets them."""

import pytest
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, Forms, client_of, words
from tests.views.room_of_broods import Nursery, brood_in
from tests.views.room_of_glass import NOW, PAST, well

from roewatch.breeding.count import Counted
from roewatch.breeding.record import BroodAct, Outcome
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.views.app import app_of


def test_every_brood_under_way_stands_in_the_list_with_its_next_event(keeper: TestClient) -> None:
    page = words(keeper.get("/broods").text)
    assert "3 under way" in page
    assert "2026-14" in page
    assert "eggs, 17 h old" in page
    assert page.index("2026-11") < page.index("2026-14") < page.index("2026-15")


def test_a_room_without_broods_says_what_would_be_here_and_how_to_begin() -> None:
    records, live, deeds = well()
    app = app_of(records, live, deeds, settings=WebPlace(), past=PAST)
    with TestClient(app, base_url=BASE, client=("127.0.0.1", 1)) as keeper:
        assert "No brood is under way" in keeper.get("/broods").text
        assert keeper.get("/broods/new").status_code == 200


def test_the_page_of_a_brood_shows_its_windows_and_on_what_they_stand(keeper: TestClient) -> None:
    page = keeper.get("/broods/2026-14").text
    assert 'class="b-window"' in page
    text = words(page)
    assert "S spawned Wed 11, 21:31" in text
    assert "72-96 h" in text
    assert "about 60" in text


def test_one_tap_records_and_the_stage_words_follow(keeper: TestClient, room: Nursery) -> None:
    page = keeper.get("/broods/2026-14").text
    form = Forms(page)["/broods/2026-14/records"]
    answer = keeper.post(
        "/broods/2026-14/records",
        data={"token": form["token"], "back": "/broods/2026-14", "act": "hatched"},
    )
    assert "Hatched: recorded." in words(answer.text)
    brood = brood_in(room[3], "2026-14")
    assert brood.hatched_ms == NOW
    assert "larvae" in words(answer.text)


def post(keeper: TestClient, address: str, **fields: str) -> str:
    """A form of the brood's page, sent; returns what the next page says."""
    page = keeper.get("/broods/2026-14").text
    token = Forms(page)["/broods/2026-14/records"]["token"]
    answer = keeper.post(address, data={"token": token, "back": "/broods/2026-14", **fields})
    assert answer.status_code < 500
    return words(answer.text)


def test_the_same_tap_twice_asks_before_it_counts_twice(keeper: TestClient, room: Nursery) -> None:
    def meals() -> int:
        return sum(r.act is BroodAct.FED for r in room[3].records("2026-14"))

    post(keeper, "/broods/2026-14/records", act="fed")
    said = post(keeper, "/broods/2026-14/records", act="fed")
    assert "“fed” was recorded just now. Nothing was added." in said
    assert meals() == 1
    post(keeper, "/broods/2026-14/records", act="fed", again="yes")
    assert meals() == 2


def test_a_record_is_undone_and_comes_back_and_nothing_is_lost(
    keeper: TestClient, room: Nursery
) -> None:
    before = brood_in(room[3], "2026-14")
    post(keeper, "/broods/2026-14/records", act="hatched")
    made = next(r for r in room[3].records("2026-14") if r.act is BroodAct.HATCHED)
    said = post(keeper, "/broods/2026-14/undo", record=made.id)
    assert "taken back" in said
    after = brood_in(room[3], "2026-14")
    assert (after.hatched_ms, after.stage, after.counts) == (None, before.stage, before.counts)
    taken = next(r for r in room[3].records("2026-14") if r.act is BroodAct.WITHDRAWN)
    post(keeper, "/broods/2026-14/undo", record=taken.id)
    assert brood_in(room[3], "2026-14").hatched_ms == NOW
    assert len(room[3].records("2026-14")) == 6


def test_undo_is_offered_for_ten_minutes_and_correction_for_ever(
    keeper: TestClient, room: Nursery
) -> None:
    page = keeper.get("/broods/2026-11").text
    # the meal of four minutes ago; the withdrawn record can always be brought back
    assert page.count(">Undo<") == 1
    assert page.count(">Bring back<") == 1
    assert page.count(">Correct<") > 5
    room[1].at_ms = NOW + 7 * MINUTE_MS
    assert keeper.get("/broods/2026-11").text.count(">Undo<") == 0


def test_a_corrected_record_shows_what_it_said_before(keeper: TestClient, room: Nursery) -> None:
    assert "<s>" in keeper.get("/broods/2026-11").text
    spawned = next(r for r in room[3].records("2026-14") if r.act is BroodAct.SPAWNED)
    page = post(keeper, "/broods/2026-14/correct", record=spawned.id, count="50-70", wall="")
    assert "Corrected: eggs seen, 50-70" in page
    assert "eggs seen, about 60" in page
    brood = brood_in(room[3], "2026-14")
    assert brood.counts[Counted.EGGS].text == "50-70"
    assert brood.spawned_ms == spawned.at_ms, "the minute was not touched, so the seconds stay"


@pytest.mark.parametrize(
    ("fields", "text"),
    [
        ({"count": "60"}, "60"),
        ({"count": "about 60"}, "about 60"),
        ({"count": "60", "about": "on"}, "about 60"),
        ({"count": "50-70"}, "50-70"),
        ({"count": "50", "to": "70"}, "50-70"),
        ({"count": "50", "to": "70", "about": "on"}, "about 50-70"),
        ({"count": "50", "to": "50"}, "50"),
    ],
)
def test_a_count_is_kept_as_it_was_counted(
    keeper: TestClient, room: Nursery, fields: dict[str, str], text: str
) -> None:
    post(keeper, "/broods/2026-14/records", act="counted", counted="hatched", **fields)
    assert brood_in(room[3], "2026-14").counts[Counted.HATCHED].text == text


def test_a_step_without_scripts_changes_the_box_and_records_nothing(
    keeper: TestClient, room: Nursery
) -> None:
    kept = len(room[3].kept)
    page = keeper.get("/broods/2026-14").text
    token = Forms(page)["/broods/2026-14/records"]["token"]
    answer = keeper.post(
        "/broods/2026-14/records",
        data={"token": token, "act": "counted", "counted": "eggs", "count": "60", "step": "5"},
    )
    assert 'value="65"' in answer.text
    assert len(room[3].kept) == kept


@pytest.mark.parametrize(
    "fields",
    [
        {"act": "dancing"},
        {"act": "ended"},
        {"act": "counted", "counted": "eggs"},
        {"act": "counted", "counted": "eggs", "count": "many"},
        {"act": "counted", "counted": "eggs", "count": "70-50"},
        {"act": "counted", "counted": "tails", "count": "3"},
        {"act": "note"},
        {"act": "moved", "tank": "Z9"},
        {"act": "stage", "detail": "dancing"},
        {"act": "fed", "wall": "2026-11-13T10:00"},
        {"act": "fed", "wall": "soon"},
    ],
)
def test_what_cannot_be_recorded_is_said_and_not_recorded(
    keeper: TestClient, room: Nursery, fields: dict[str, str]
) -> None:
    kept = len(room[3].kept)
    said = post(keeper, "/broods/2026-14/records", **fields)
    assert "That was not done" in said
    assert len(room[3].kept) == kept


def test_a_brood_is_begun_from_a_form_filled_from_the_tanks_last_one(
    keeper: TestClient, room: Nursery
) -> None:
    page = keeper.get("/broods/new?tank=A2").text
    form = Forms(page)["/broods"]
    assert form["parents"] == "pair 1"
    assert form["brood"] == "2026-16"
    form |= {"species": "danio-margaritatus", "light_on": "07:00", "light_off": "19:00"}
    form |= {"stage": "spawning"}
    answer = keeper.post("/broods", data=form)
    assert answer.url.path == "/broods/2026-16"
    brood = brood_in(room[3], "2026-16")
    assert (brood.tank, brood.parents, brood.plan["light"]) == ("A2", "pair 1", "07:00-19:00")
    again = keeper.post("/broods", data=form)
    assert "already begun" in words(again.text)
    assert len(room[3].records("2026-16")) == 1


def test_ending_asks_one_question(keeper: TestClient, room: Nursery) -> None:
    post(keeper, "/broods/2026-14/end", outcome="lost", detail="fungus")
    brood = brood_in(room[3], "2026-14")
    assert (brood.outcome, brood.lost_to) == (Outcome.LOST, "fungus")
    page = words(keeper.get("/broods/2026-14").text)
    assert "lost to fungus." in page
    assert "End this brood" not in page


def test_what_a_brood_was_begun_with_and_how_it_ended_can_be_corrected(
    keeper: TestClient, room: Nursery
) -> None:
    begun = next(r for r in room[3].records("2026-14") if r.act is BroodAct.STARTED)
    post(keeper, "/broods/2026-14/correct", record=begun.id, plan_water="rain", plan_light="")
    assert brood_in(room[3], "2026-14").water == "rain"
    assert brood_in(room[3], "2026-14").parents == "pair 3"
    post(keeper, "/broods/2026-14/end", outcome="lost", detail="fungus")
    ended = next(r for r in room[3].records("2026-14") if r.act is BroodAct.ENDED)
    post(keeper, "/broods/2026-14/correct", record=ended.id, outcome="given-up", detail="")
    brood = brood_in(room[3], "2026-14")
    assert (brood.outcome, brood.lost_to) == (Outcome.GIVEN_UP, "")


def test_a_todo_is_ticked_and_gone(keeper: TestClient, room: Nursery) -> None:
    brood = brood_in(room[3], "2026-14")
    todo = next(t for t in room[3].outlook(brood, NOW).todos if t.task == "white-eggs")
    ticked = f'name="detail" value="{todo.key}"'
    assert ticked in keeper.get("/broods/2026-14").text
    post(keeper, "/broods/2026-14/records", act="done", detail=todo.key)
    assert ticked not in keeper.get("/broods/2026-14").text


def test_commands_are_shown_as_such_and_ranges_and_units_stay_whole(keeper: TestClient) -> None:
    for address in ("/broods/2026-14", "/broods/2026-14/sheet"):
        page = keeper.get(address).text
        assert "<code>roewatch water ramp</code> reckons the steps" in page
        assert '<span class="whole">24-27</span>\u00a0°C' in page
        assert "`" not in page
    report = keeper.get("/broods/2026-11/report").text
    assert 'outside, <span class="whole">40 h</span> later than likely' in report


def test_a_late_todo_stays_with_its_age(keeper: TestClient, room: Nursery) -> None:
    room[1].at_ms = NOW + 30 * HOUR_MS
    page = words(keeper.get("/broods/2026-14").text)
    assert "late by" in page


def test_who_may_only_look_is_offered_no_form(room: Nursery) -> None:
    with client_of(room, host="192.168.1.20") as keeper:
        page = keeper.get("/broods/2026-14").text
    assert "/broods/2026-14/records" not in page
    assert "/broods/2026-14/undo" not in page


def test_the_room_page_names_what_broods_ask_for_and_how_late_it_is(keeper: TestClient) -> None:
    page = keeper.get("/").text
    coming = words(page[page.index('id="coming"') :])
    assert coming.index("late by") < coming.index("17:00 A5 Start a spare jar of microworms")
    assert coming.index("microworms") < coming.index("B3 shelf ends")
    assert 'href="/broods/2026-14"' in page


def test_a_tanks_charts_carry_the_broods_letters_and_each_leads_to_its_line(
    keeper: TestClient,
) -> None:
    page = keeper.get("/tank/A5").text
    for letter, name in (("S", "spawned"),):
        assert f'<b class="letter">{letter}</b>{name}' in page
    at = NOW - 17 * HOUR_MS
    assert f'href="#e-{at}"' in page
    assert f'id="e-{at}"' in page
    assert "eggs seen, about 60, brood 2026-14" in words(page)
    assert "feeding" in keeper.get("/tank/A6").text
