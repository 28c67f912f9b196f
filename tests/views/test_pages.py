"""The pages as a browser without scripts gets them."""

import re
from dataclasses import replace

import pytest
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, Forms, Glass, cell, client_of, words
from tests.views.room_of_glass import (
    NOW,
    GlassRecords,
    alarm,
    hall,
    room_of,
    tank,
    well,
)

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.room.journal import Deed
from roewatch.room.kind import Kind
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, at_ms_of_iso
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flagged
from roewatch.views.app import app_of
from roewatch.views.palette import PALETTES, Theme
from roewatch.views.ports import LinkView, RefusedView


def test_a_cell_shows_values_mark_and_word_of_each_state(client: TestClient) -> None:
    page = client.get("/").text
    assert "pH above" in cell(page, "B2")
    assert "25 min new" in cell(page, "B2")
    assert "heater dead" in cell(page, "A4")
    assert "new" not in cell(page, "A4")
    assert "tank silent" in cell(page, "B5")
    assert re.search(r"2\d\.\d°", cell(page, "B5")), "the last reading is still there, greyed"
    assert 'class="value is-silent"' in page
    assert "shelved" in cell(page, "B3")
    assert "back in, not seen" in cell(page, "A1")
    assert "no window" in cell(page, "B6")
    assert "inside" in cell(page, "A5")


def test_racks_stand_side_by_side_with_their_shelves_and_their_worst_state(
    client: TestClient,
) -> None:
    page = client.get("/").text
    assert re.findall(r'<ol class="shelf" aria-label="shelf (\d)">', page) == ["1", "2", "1", "2"]
    order = re.findall(r'id="t-(\w+)"', page)
    assert order == [f"{rack}{n}" for rack in "AB" for n in range(1, 7)]
    letters = re.findall(r'<li><a href="#rack-\d" class="is-(\w+)"><span>(\w)', page)
    assert letters == [("outside", "A"), ("outside", "B")]


def test_an_empty_place_on_a_shelf_is_shown_as_empty() -> None:
    pair = [
        tank("C1", rack="C", shelf=1, place=1, species="Danio margaritatus"),
        tank("C3", rack="C", shelf=1, place=3, species="Danio margaritatus"),
    ]
    with client_of(well(room_of(pair))) as client:
        assert client.get("/").text.count('class="cell gap"') == 1


def test_the_strip_says_alarms_silence_last_reading_and_link(client: TestClient) -> None:
    strip = client.get("/alarms").text.split("</header>")[0]
    assert "1 new alarm" in words(strip)
    assert "2 silent" in words(strip)
    assert "live" in words(strip)
    assert "14:30:50" in words(strip)


def test_a_cut_link_says_since_when_and_what_still_works(glass: Glass) -> None:
    glass[1].kept_link = LinkView(word="cut off", since_ms=NOW - 29 * MINUTE_MS, why="refused")
    with client_of(glass) as client:
        page = words(client.get("/").text)
    assert "No broker since 14:02 (refused)." in page
    assert "Limits are not being checked. Old readings can be seen." in page


def test_a_wrong_clock_is_said_on_every_page_and_to_machines(glass: Glass) -> None:
    glass[1].kept_link = LinkView(word="waiting", since_ms=NOW, why="the clock is wrong; all waits")
    with client_of(glass) as client:
        page = words(client.get("/").text)
        health = client.get("/healthz")
    assert "The clock is wrong; all waits. Limits are not being checked." in page
    assert health.status_code == 503


def test_the_next_events_stand_beside_the_racks_in_order(client: TestClient) -> None:
    page = client.get("/").text
    coming = words(page[page.index('id="coming"') :])
    assert coming.index("B3 shelf ends") < coming.index("A4 temperature leaves window")
    assert "(18:31 to 21:31)" in coming
    assert "A1 plan: pH 5.40" in coming


def test_a_room_without_tanks_says_what_to_do() -> None:
    with client_of(well(room_of([]))) as client:
        assert "No tanks yet" in client.get("/").text
        assert client.get("/records").status_code == 200


def test_sixty_tanks_are_under_sixty_kilobytes_before_packing() -> None:
    with client_of(well(hall(60))) as client:
        answer = client.get("/")
    assert len(answer.content) < 60_000
    assert answer.headers["content-encoding"] == "gzip"


def test_six_hundred_tanks_are_all_there() -> None:
    with client_of(well(hall(600))) as client:
        assert client.get("/").text.count('class="cell is-') == 600


def test_the_tank_page_puts_each_value_against_its_window(client: TestClient) -> None:
    page = words(client.get("/tank/B2").text)
    assert "window 4.80 to 5.50" in page
    assert re.search(r"pH 5\.\d\d .{0,20}window 4.80 to 5.50 above by 0\.\d\d", page)
    assert re.search(r"Rising, 0\.[56]\d\d an hour", page)
    assert "First:" in page


def test_the_week_is_drawn_with_stage_rule_band_plan_and_letters(client: TestClient) -> None:
    page = client.get("/tank/A1?span=7d").text
    chart = page[page.index('aria-labelledby="h-c-ph"') : page.index('id="h-c-temperature"')]
    for part in ("c-band", "c-edge", "c-line", "c-out", "c-plan", "c-rule", "c-now"):
        assert f'class="{part}"' in chart, part
    assert ">conditioning</text>" in chart
    assert re.findall(r'text-anchor="middle">([A-Z])</text>', chart) == ["W", "N", "C"]
    assert "1 gap without readings, 5 h in all." in chart


def test_the_band_before_the_stage_change_is_the_older_stages(client: TestClient) -> None:
    chart = client.get("/tank/A1/ph.svg").text
    band = re.search(r'<path fill="#12352c" d="([^"]+)"', chart)
    assert band is not None
    assert band[1].count("Z") == 2


def test_any_span_has_its_own_address_and_a_wrong_one_is_explained(client: TestClient) -> None:
    for query in ("span=6h", "span=1d", "span=30d", "span=7d&until=2026-11-10T12:00:00Z"):
        assert client.get(f"/tank/A1?{query}").status_code == 200, query
    wrong = client.get("/tank/A1?span=soon")
    assert wrong.status_code == 400
    assert "is not a span" in wrong.text
    assert client.get("/tank/A1?span=7d&until=yesterday").status_code == 400
    assert client.get("/tank/A1?span=9000d").status_code == 400


def test_a_table_shows_the_hours_newest_first_and_says_where_readings_are_missing(
    client: TestClient,
) -> None:
    page = client.get("/tank/A1?span=7d&table=ph").text
    rows = re.findall(r'<th scope="row">([^<]+)</th>', page[page.index('class="hours"') :])
    assert rows[0] == "Thu 12, 14:00"
    assert "no readings" in page
    assert "min</td>" in page  # minutes outside
    assert 'href="?span=7d#h-c-ph">chart</a>' in page, "the way back"
    assert 'table=temperature#h-c-temperature">table</a>' in page


def test_a_tank_that_is_not_there_is_a_plain_answer(client: TestClient) -> None:
    answer = client.get("/tank/Z9")
    assert answer.status_code == 404
    assert "no tank &#39;Z9&#39;" in answer.text
    assert client.get("/nowhere").status_code == 404
    assert client.get("/tank/A1/mood.svg").status_code == 404


def test_a_name_that_several_tanks_begin_with_leads_to_each_of_them(client: TestClient) -> None:
    answer = client.get("/find?tank=a")
    assert answer.status_code == 404
    assert "Which one?" in answer.text
    for number in range(1, 7):
        assert f'href="/tank/A{number}"' in answer.text


def test_an_empty_room_has_nothing_to_move_and_says_where_racks_come_from() -> None:
    with client_of(well(room_of([]))) as client:
        page = client.get("/move").text
    assert 'href="/setup#racks"' in page
    assert "tap the tank" not in page


def test_the_picture_is_served_in_each_theme_and_as_png(client: TestClient) -> None:
    for theme in Theme:
        answer = client.get(f"/tank/A1/ph.svg?theme={theme}")
        assert answer.headers["content-type"] == "image/svg+xml"
        assert PALETTES[theme].page in answer.text
    assert client.get("/tank/A1/ph.svg?theme=pink").status_code == 400
    assert client.get("/tank/A1/ph.png").content.startswith(b"\x89PNG")


def test_alarms_stand_by_state_with_their_act_and_who_was_told(client: TestClient) -> None:
    page = client.get("/alarms").text
    titles = re.findall(r'class="group">([^<]+)<', page)
    assert titles[:4] == [
        "Unacknowledged", "Returned to normal, unacknowledged", "Acknowledged", "Shelved",
    ]  # fmt: skip
    first = words(page[page.index('id="no-42"') : page.index('id="no-40"')])
    assert "B2 pH above window no. 42" in first
    assert "First: " in first
    assert "Keeper, phone: taken 14:08" in first
    assert "(mail server answered 451: try again later)" in first
    assert "3 open, 1 over and not seen, 1 shelved" in words(page)


def test_acknowledging_says_so_once_and_comes_back_to_the_same_page(
    client: TestClient, glass: Glass
) -> None:
    fields = Forms(client.get("/tank/B2").text)["/alarms/42/acknowledge"]
    answer = client.post("/alarms/42/acknowledge", data=fields)
    assert answer.url.path == "/tank/B2"
    assert "Alarm 42 acknowledged." in answer.text
    assert "Alarm 42 acknowledged." not in client.get("/tank/B2").text
    kept = glass[0].alarm(42)
    assert kept is not None
    assert kept.state is State.ACKNOWLEDGED


def test_acknowledging_what_is_over_is_explained(client: TestClient) -> None:
    fields = Forms(client.get("/alarms").text)["/alarms/42/acknowledge"]
    answer = client.post("/alarms/41/acknowledge", data=fields)
    assert answer.status_code == 400
    assert "is not waiting for anybody" in answer.text


def test_shelving_asks_how_long_and_why_and_never_for_more_than_a_day(
    client: TestClient, glass: Glass
) -> None:
    fields = Forms(client.get("/alarms").text)["/alarms/42/shelve"]
    assert client.post("/alarms/42/shelve", data=fields | {"until": "4h"}).status_code == 400
    wrong = client.post("/alarms/42/shelve", data=fields | {"until": "for ever", "why": "x"})
    assert wrong.status_code == 400
    done = client.post("/alarms/42/shelve", data=fields | {"until": "tomorrow", "why": "peat in"})
    assert done.status_code == 200
    kept = glass[0].alarm(42)
    assert kept is not None
    assert kept.shelved_why == "peat in"
    assert kept.shelved_until_ms is not None
    assert NOW < kept.shelved_until_ms <= NOW + DAY_MS
    assert kept.shelved_until_ms % HOUR_MS == 0  # eight in the morning
    fields = Forms(client.get("/alarms").text)["/alarms/42/unshelve"]
    assert client.post("/alarms/42/unshelve", data=fields).status_code == 200


def test_one_tap_records_a_water_change_and_two_taps_record_it_once(
    client: TestClient, glass: Glass
) -> None:
    fields = Forms(client.get("/tank/A2").text)["/records"]
    answer = client.post("/records", data=fields)
    assert answer.url.path == "/tank/A2"
    assert "A2: water change, 15 %, recorded." in answer.text
    assert "recorded once" in client.post("/records", data=fields).text
    assert [e.deed for e in glass[0].entries if e.tank == "A2"] == [Deed.WATER_CHANGE]


def test_the_same_record_within_half_a_minute_asks_first(client: TestClient, glass: Glass) -> None:
    fields = Forms(client.get("/tank/A2").text)["/records"]
    client.post("/records", data=fields)
    glass[1].at_ms += 20 * SECOND_MS
    asked = client.post("/records", data=fields)
    assert "a second time?" in asked.text
    assert len([e for e in glass[0].entries if e.tank == "A2"]) == 1
    client.post("/records", data=fields | {"again": "yes"})
    assert len([e for e in glass[0].entries if e.tank == "A2"]) == 2


def test_a_record_is_undone_with_one_tap_for_ten_minutes_and_corrected_for_ever(
    client: TestClient, glass: Glass
) -> None:
    fields = Forms(client.get("/tank/A2").text)["/records"] | {"back": "/records?tank=A2"}
    page = client.post("/records", data=fields).text
    number = len(glass[0].entries)
    undo = f"/records/{number}/withdraw"
    assert undo in dict(Forms(page).found)
    glass[1].at_ms += 10 * MINUTE_MS
    page = client.get("/records?tank=A2").text
    assert undo not in dict(Forms(page).found)
    assert f'href="/records/{number}"' in page
    form = Forms(client.get(f"/records/{number}").text)[f"/records/{number}"]
    client.post(f"/records/{number}", data=form | {"detail": "30 %", "at": "2026-11-12T08:15"})
    entry = glass[0].entries[number - 1]
    assert entry.detail == "30 %"
    page = client.get("/records?tank=A2").text
    assert "water change, 30 %" in page
    assert "put right by somebody at this computer" in page
    assert "water change, 15 %" in page, "the old words are kept"


def test_undo_takes_a_record_back_and_keeps_what_it_said(client: TestClient, glass: Glass) -> None:
    fields = Forms(client.get("/tank/A2").text)["/records"] | {"back": "/records?tank=A2"}
    page = client.post("/records", data=fields).text
    number = len(glass[0].entries)
    done = client.post(
        f"/records/{number}/withdraw", data=Forms(page)[f"/records/{number}/withdraw"]
    )
    assert done.url.path == "/records"
    assert "A2: water change, 15 %, withdrawn." in done.text
    assert glass[0].journal("A2", 0, 2**60) == []
    assert "withdrawn" in client.get("/records?tank=A2").text
    again = client.get(f"/records/{number}")
    assert again.status_code == 404
    assert "may have been withdrawn" in again.text


def test_a_record_cannot_be_moved_into_the_future_or_to_no_time(
    client: TestClient, glass: Glass
) -> None:
    form = Forms(client.get("/records/1").text)["/records/1"]
    for at in ("2031-01-01T00:00", "yesterday", "2026-02-30T10:00"):
        answer = client.post("/records/1", data=form | {"at": at, "detail": "20 %"})
        assert answer.status_code == 400
        assert "When:" in answer.text
    assert glass[2].done == []


def test_an_empty_note_and_an_unknown_deed_are_refused(client: TestClient) -> None:
    fields = Forms(client.get("/tank/A2").text)["/records"]
    assert client.post("/records", data=fields | {"deed": "note", "detail": " "}).status_code == 400
    assert client.post("/records", data=fields | {"deed": "sing"}).status_code == 400
    assert client.post("/records", data=fields | {"tank": "Z9"}).status_code == 404


def test_what_people_and_probes_wrote_is_shown_as_text_only(glass: Glass) -> None:
    nasty = "<script>alert(1)</script>"
    records, live, _ = glass
    records.kept_alarms = [
        alarm(7, "A1", Kind.ABOVE_WINDOW, quantity=Quantity.PH, message=nasty, shelved_why=nasty)
    ]
    records.entries = [replace(e, detail=nasty) for e in records.entries if e.deed is Deed.NOTE]
    live.not_read = [RefusedView(topic=nasty, count=3, example=nasty, why="not a number")]
    bad = tank("A1", rack=nasty, shelf=1, place=1, species=nasty)
    live.kept_room = room_of([replace(bad, name=nasty)])
    with client_of(glass) as client:
        for address in ("/", "/tank/A1", "/alarms", "/records", "/tank/%3Cscript%3E"):
            assert nasty not in client.get(address).text, address
        assert "3 refused" in client.get("/alarms").text


def test_a_form_from_another_site_changes_nothing(client: TestClient, glass: Glass) -> None:
    fields = Forms(client.get("/alarms").text)["/alarms/42/acknowledge"]
    for headers in (
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ):
        answer = client.post("/alarms/42/acknowledge", data=fields, headers=headers)
        assert answer.status_code == 403, headers
    assert client.post("/alarms/42/acknowledge", data={}).status_code == 403
    forged = fields | {"token": "0" * 64}
    assert client.post("/alarms/42/acknowledge", data=forged).status_code == 403
    assert glass[2].done == []


def test_another_browsers_token_does_not_fit(client: TestClient, glass: Glass) -> None:
    fields = Forms(client.get("/alarms").text)["/alarms/42/acknowledge"]
    client.cookies.clear()
    client.get("/alarms")
    assert client.post("/alarms/42/acknowledge", data=fields).status_code == 403
    assert glass[2].done == []


def test_a_name_we_do_not_know_is_not_answered(client: TestClient) -> None:
    answer = client.get("/", headers={"host": "rebound.example"})
    assert answer.status_code == 403
    assert "web.address" in answer.text
    assert client.get("/", headers={"host": "localhost:8420"}).status_code == 200


def test_from_another_machine_one_may_look_and_not_touch(glass: Glass) -> None:
    with client_of(glass, host="192.168.1.20") as client:
        page = client.get("/alarms").text
        assert "/acknowledge" not in page
        token = Forms(page)["/theme"]
        answer = client.post("/alarms/42/acknowledge", data=token)
        assert answer.status_code == 403
        assert "only the computer the daemon runs on" in answer.text
        assert client.post("/theme", data=token | {"theme": "day"}).status_code == 200
    assert glass[2].done == []


def test_a_form_leads_back_only_to_our_own_pages(client: TestClient) -> None:
    fields = Forms(client.get("/alarms").text)["/alarms/42/acknowledge"]
    for back in ("https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example"):
        answer = client.post(
            "/theme", data=fields | {"back": back, "theme": "red"}, follow_redirects=False
        )
        assert answer.headers["location"] == "/", back


def test_the_theme_stays_with_the_browser(client: TestClient) -> None:
    fields = Forms(client.get("/").text)["/theme"]
    assert 'data-theme="red"' in client.post("/theme", data=fields | {"theme": "red"}).text
    assert 'data-theme="red"' in client.get("/alarms").text
    assert "data-theme=" not in client.post("/theme", data=fields | {"theme": ""}).text


def test_every_page_is_bound_to_our_own_files(client: TestClient) -> None:
    for address in ("/", "/tank/A1", "/alarms", "/records", "/nowhere"):
        answer = client.get(address)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert not re.search(r"<script(?![^>]*src=)|\sstyle=|\son\w+=", answer.text), address
        assert "http://" not in answer.text.replace("http://www.w3.org/2000/svg", ""), address
        assert "https://" not in answer.text, address


def test_our_files_are_kept_for_ever_and_nothing_else_is_served(client: TestClient) -> None:
    page = client.get("/").text
    for address in re.findall(r'(?:href|src)="(/static/[^"#]+)', page):
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert "immutable" in answer.headers["cache-control"]
    for wrong in ("/static/nothing.css", "/static/..%2fapp.py", "/static/%2e%2e/app.py"):
        assert client.get(wrong).status_code == 404, wrong


def test_the_style_sheets_colours_are_the_palettes() -> None:
    from roewatch.views.pages import static_bytes  # noqa: PLC0415

    sheet = static_bytes("room.css").decode()
    blocks = {
        Theme.NIGHT: sheet.split("@media", 1)[0],
        Theme.DAY: re.search(r'data-theme="day"\] \{(.*?)\}', sheet, re.DOTALL)[1],  # type: ignore[index]
        Theme.RED: re.search(r'data-theme="red"\] \{(.*?)\}', sheet, re.DOTALL)[1],  # type: ignore[index]
        Theme.PRINT: sheet.split("@media print", 1)[1],
    }
    for theme, block in blocks.items():
        said = dict(re.findall(r"--([\w-]+): (#\w{6});", block))
        for name in ("page", "text", "quiet", "measured", "plan", "outside", "band", "grid"):
            assert said[name] == getattr(PALETTES[theme], name), (theme, name)
        assert said["band-edge"] == PALETTES[theme].band_edge


def test_our_own_fault_is_a_plain_text_with_a_number_for_the_log(
    glass: Glass, caplog: pytest.LogCaptureFixture
) -> None:
    records, live, deeds = glass

    class Broken(GlassRecords):
        def latest(self) -> dict[str, Flagged]:
            raise RuntimeError("the file is gone")

    app = app_of(Broken(records.room), live, deeds, settings=WebPlace())
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        answer = client.get("/")
    assert answer.status_code == 500
    reference = re.search(r"under (\w{8})\.", answer.text)
    assert reference is not None
    assert f"reference={reference[1]}" in caplog.text
    assert "the file is gone" not in answer.text


def test_health_is_for_machines(glass: Glass) -> None:
    with client_of(glass) as client:
        assert client.get("/healthz").json()["link"] == "live"
        glass[1].kept_link = LinkView(word="cut off", since_ms=NOW, why="")
        assert client.get("/healthz").status_code == 503


def test_an_alarms_own_page_tells_its_life_in_order(client: TestClient, glass: Glass) -> None:
    records = glass[0]
    alarm_42 = records.alarm(42)
    assert alarm_42 is not None
    seen = replace(alarm_42, state=State.ACKNOWLEDGED, acknowledged_by="Keeper")
    records.kept_changes = [
        AlarmChange(at_ms=NOW - 24 * MINUTE_MS, alarm=alarm_42, before=State.NORMAL),
        AlarmChange(at_ms=NOW - 5 * MINUTE_MS, alarm=seen, before=State.UNACKNOWLEDGED),
    ]
    told = words(client.get("/alarms/42").text)
    order = [
        told.index("it began"),
        told.index("14:07 unacknowledged"),
        told.index("14:26 acknowledged by Keeper"),
    ]
    assert order == sorted(order)
    assert "Keeper, phone: told that it began, taken" in told
    assert "failed at try 1, will be tried again (mail server answered 451" in told
    assert client.get("/alarms/999").status_code == 404
    assert client.get(f"/alarms/{10**30}").status_code == 404


def rings(glass: Glass, count: int) -> None:
    """Alarm 42's condition was raised again and again, five minutes apart."""
    records = glass[0]
    first = records.alarm(42)
    assert first is not None
    for n in range(count):
        at_ms = NOW - (n + 1) * 5 * MINUTE_MS
        ring = replace(first, number=100 + n, raised_ms=at_ms, present=False, returned_ms=at_ms)
        records.kept_alarms.append(replace(ring, state=State.NORMAL))
        records.kept_changes.append(AlarmChange(at_ms=at_ms, alarm=ring, before=State.NORMAL))


def test_a_chattering_alarm_is_named_with_its_figures(client: TestClient, glass: Glass) -> None:
    rings(glass, 2)
    assert "Chattering" not in client.get("/alarms").text
    rings(glass, 6)
    for address in ("/alarms", "/alarms/42"):
        said = words(client.get(address).text)
        assert "Chattering: it rang 6 times in an hour: widen the dead band" in said


def test_a_latched_alarm_is_closed_only_by_somebody_who_looked(
    client: TestClient, glass: Glass
) -> None:
    assert "/alarms/40/reset" not in dict(Forms(client.get("/alarms").text).found)
    glass[0].replace_alarm(40, latched=True)
    form = dict(Forms(client.get("/alarms").text).found)["/alarms/40/reset"]
    assert "Alarm 40 is closed." in client.post("/alarms/40/reset", data=form).text
    assert glass[2].done == [("reset", 40, "somebody at this computer")]
    refused = client.post("/alarms/42/reset", data=form)
    assert "is not latched" in words(refused.text)


def test_the_performance_page_says_what_to_mend(client: TestClient, glass: Glass) -> None:
    assert "Nothing to mend." in client.get("/alarms/performance").text
    rings(glass, 6)
    said = words(client.get("/alarms/performance?days=7").text)
    assert "B2 pH above window rang 6 times in an hour" in said
    assert "too many aim: at most 2" in said
    assert client.get("/alarms/performance?days=8").status_code == 400
    figures = client.get("/api/performance?days=7").json()
    assert (figures["alarms"], figures["most_in_an_hour"]) == (6, 6)


def test_a_shelf_can_end_at_a_time_of_ones_own(client: TestClient, glass: Glass) -> None:
    form = Forms(client.get("/alarms").text)["/alarms/42/shelve"] | {"until": "own", "why": "x"}
    client.post("/alarms/42/shelve", data=form | {"own": "18:00"})
    client.post("/alarms/42/shelve", data=form | {"own": "08:15"})
    assert [d[2] for d in glass[2].done] == [
        at_ms_of_iso("2026-11-12T18:00:00+02:00"),
        at_ms_of_iso("2026-11-13T08:15:00+02:00"),
    ]
    assert client.post("/alarms/42/shelve", data=form | {"own": "soon"}).status_code == 400


def test_out_of_service_needs_a_reason_and_shows_in_the_strip(
    client: TestClient, glass: Glass
) -> None:
    form = Forms(client.get("/alarms").text)["/alarms/42/out-of-service"]
    assert client.post("/alarms/42/out-of-service", data=form | {"why": " "}).status_code == 400
    page = client.post("/alarms/42/out-of-service", data=form | {"why": "new heater"}).text
    assert "1 out of service" in words(page)
    assert "“new heater”" in page
    assert "1 out of service" in words(client.get("/").text)
    client.post("/alarms/42/return", data=Forms(page)["/alarms/42/return"])
    assert "out of service" not in words(client.get("/").text)


def test_a_silent_probe_has_neither_a_rate_nor_a_forecast(glass: Glass) -> None:
    glass[1].at_ms = NOW + 29 * MINUTE_MS
    with client_of(glass) as client:
        page = words(client.get("/tank/A4").text)
    assert page.count("Cannot say how fast it changes or where it goes: the probe is silent.") == 2
    assert "Leaves the window" not in page
    assert "Steady" not in page


def test_what_is_over_says_nothing_of_a_tank_that_is_silent_now(glass: Glass) -> None:
    live = glass[1]
    live.kept_link = LinkView(word="cut off", since_ms=NOW, why="refused")
    live.at_ms = NOW + 29 * MINUTE_MS
    with client_of(glass) as client:
        assert "silent 29 min" in cell(client.get("/").text, "A1")


def test_the_chart_alone_keeps_the_light_of_its_page(client: TestClient) -> None:
    client.cookies.set("roewatch_theme", "red")
    page = client.get("/tank/A1").text
    picture = re.search(r'href="(/tank/A1/ph\.svg[^"]*)"', page)
    assert picture is not None
    drawn = client.get(picture[1].replace("&amp;", "&")).text
    assert PALETTES[Theme.RED].page in drawn
