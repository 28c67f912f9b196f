"""The comparison page: it concludes nothing from little, and says so."""

from dataclasses import replace

import pytest
from starlette.testclient import TestClient
from tests.views.reader import client_of, words
from tests.views.room_of_broods import GlassBroods, tried
from tests.views.room_of_glass import usual
from tests.views.test_api import fits

from roewatch.views.api import document
from roewatch.views.pages import UNITS


def page_of(count: int, address: str = "/broods/compare") -> TestClient:
    records, live, deeds = usual()
    broods = GlassBroods(records, live)
    broods.record(tried(count))
    return client_of((records, live, deeds, broods))


def test_with_three_broods_it_refuses_to_conclude_and_says_how_many_are_missing() -> None:
    with page_of(3) as client:
        text = words(client.get("/broods/compare").text)
    assert "No conclusion." in text
    assert "Too few broods to conclude anything: at least 5 of each are needed." in text
    assert "4 more of rain" in text
    assert "cannot say" in text


def test_with_many_it_names_the_better_water_with_its_interval_and_the_spread_of_clutches() -> None:
    with page_of(150) as client:
        page = client.get("/broods/compare").text
    text = words(page)
    assert "No conclusion." not in text
    assert "rain and peat gave more than well" in text
    assert "times as much as chance alone" in text
    assert page.count('class="g-line"') == 3
    assert page.count('class="g-dot"') == 150


def test_a_verdict_that_begins_with_a_temperature_is_told_whole_in_the_units_chosen() -> None:
    warmths = {"rain and peat": "26", "rain": "25", "well": "24"}
    records, live, deeds = usual()
    broods = GlassBroods(records, live)
    for one in tried(150):
        fields = dict(one.fields)
        if "water" in fields:
            fields["celsius"] = warmths[fields["water"]]
        broods.record([replace(one, fields=fields)])
    with client_of((records, live, deeds, broods)) as client:
        client.cookies.set(UNITS, "f")
        text = words(client.get("/broods/compare?by=temperature").text)
    # NIST SP 811 (2008), B.9: 26 and 25 °C are 78.8 and 77.0 °F
    assert " 78.8 °F gave more than 77.0 °F" in text


@pytest.mark.parametrize("by", ["water", "temperature", "parents", "food"])
@pytest.mark.parametrize("what", ["hatched", "fertilised", "swimming", "day-14", "day-30"])
def test_every_question_has_an_answer(by: str, what: str) -> None:
    with page_of(12) as client:
        assert client.get(f"/broods/compare?by={by}&what={what}").status_code == 200


def test_a_question_that_is_none_is_explained() -> None:
    with page_of(12) as client:
        for query in ("by=moon", "what=luck", "species=nessie"):
            assert client.get(f"/broods/compare?{query}").status_code == 400, query


def test_an_empty_room_says_what_would_be_here() -> None:
    with page_of(0) as client:
        assert "When broods have been recorded" in client.get("/broods/compare").text


def test_scripts_get_the_same_comparison() -> None:
    with page_of(150) as client:
        answer = client.get("/api/comparison?by=water")
    schema = document()["paths"]["/api/comparison"]["get"]["responses"]["200"]["content"]
    fits(schema["application/json"]["schema"], answer.json())
    assert answer.json()["concluded"] is True
