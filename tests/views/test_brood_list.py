"""Broods by the hundred, a page at a time; and sheets in the light the other pages are read in."""

import re

import pytest
from tests.views.reader import client_of, words
from tests.views.room_of_broods import GlassBroods, nursery, tried
from tests.views.room_of_glass import usual


def test_hundreds_of_ended_broods_come_a_page_at_a_time_and_none_is_lost() -> None:
    records, live, deeds = usual()
    broods = GlassBroods(records, live)
    broods.record(tried(100))
    with client_of((records, live, deeds, broods)) as client:
        pages = [client.get(f"/broods?page={n}").text for n in (1, 2, 3)]
        beyond = client.get("/broods?page=4")
        odd = client.get("/broods?page=-1")
    seen = [name for page in pages for name in re.findall(r'"/broods/(2024-\d+)"', page)]
    assert sorted(seen) == sorted(f"2024-{n}" for n in range(1, 101))
    assert "100, page 2 of 3" in words(pages[1])
    assert 'rel="prev"' not in pages[0]
    assert 'rel="next"' not in pages[2]
    assert (beyond.status_code, odd.status_code) == (400, 400)
    assert "there are 1 to 3" in words(beyond.text)


def test_what_is_next_stands_in_the_order_of_the_times_it_is_shown_with() -> None:
    with client_of(nursery()) as client:
        page = client.get("/").text
    said = words(page[page.index('id="coming"') :])
    order = [said.index(time) for time in ("late by", "17:00", "18:01", "by 18:31")]
    assert order == sorted(order)


@pytest.mark.parametrize("address", ["/sitter", "/broods/2026-11/report", "/broods/2026-14/sheet"])
def test_sheets_take_the_light_the_pages_are_read_in(address: str) -> None:
    with client_of(nursery()) as client:
        client.cookies.set("roewatch_theme", "red")
        assert '<html lang="en" data-theme="red">' in client.get(address).text


def test_a_brood_is_offered_the_species_that_lives_in_its_tank_now() -> None:
    room = nursery()
    lives = {tank.id: tank.species for tank in room[0].room.tanks}
    with client_of(room) as client:
        page = client.get("/broods/new?tank=A2").text
    (chosen,) = re.findall(
        r'<option value="([^"]*)" selected>[^<]*<', page[page.index("species") :]
    )
    assert chosen == lives["A2"]


def test_of_late_todos_a_card_tells_the_first_and_of_a_test_nothing_is_fed() -> None:
    with client_of(nursery()) as client:
        cards = words(client.get("/broods").text)
        brood = words(client.get("/broods/2026-14").text)
    assert "3 to-dos late late by 2 d 21 h : Start microworms" in cards
    assert "Artemia, test of the cysts by 2 Nov, 17:00, late" in brood
    assert "never: it is a test" in brood


def test_a_brood_that_ended_asks_for_no_more_counts() -> None:
    with client_of(nursery()) as client:
        page = client.get("/broods/2026-3").text
    assert page.index("Count again, or correct a count") < page.index('name="counted"')


@pytest.mark.parametrize(
    ("address", "place"),
    [("/water/calibrate", "Water"), ("/broods/new", "Broods"), ("/tank/A1", "Room")],
)
def test_a_page_below_one_of_the_five_places_says_in_which_one_is(address: str, place: str) -> None:
    with client_of(nursery()) as client:
        page = client.get(address).text
    assert re.findall(r'aria-current="page">(\w+)', page) == [place]
