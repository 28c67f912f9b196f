"""The bench: waters in, water out, and what cannot be reckoned is refused with its reason."""

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient
from tests.views.reader import words

from roewatch.water.blend import ranges
from roewatch.water.hardness import meq_of_dkh
from roewatch.water.source import SourceWater

BLEND = {
    "name0": "rain", "litres0": "17", "dkh0": "0,2", "dgh0": "0,1", "cond0": "12", "celsius0": "24",
    "name1": "tap", "litres1": "3", "ph1": "7.6", "dkh1": "9", "dgh1": "11", "cond1": "430",
    "celsius1": "24", "mains1": "on",
}  # fmt: skip


def test_the_page_shows_what_the_chemistry_says(client: TestClient) -> None:
    rain = SourceWater(
        name="rain", celsius=24, alkalinity=meq_of_dkh(0.2), dgh=0.1, conductivity=12
    )
    tap = SourceWater(
        name="tap", celsius=24, ph=7.6, alkalinity=meq_of_dkh(9), dgh=11, conductivity=430
    )
    sure = ranges([(17, rain), (3, tap)])
    page = words(client.get("/water", params=BLEND).text)
    low, value, high = sure.aired_ph
    assert f"pH with air, after a day {value:.2f} ({low:.2f} to {high:.2f})" in page
    assert f"general hardness {sure.dgh.value:.1f} °dGH" in page
    assert "chlorine" in page  # the tap is on the mains
    assert "never correct water in the tank" in page


def test_the_blend_is_set_against_the_window_of_the_tank_it_is_for(client: TestClient) -> None:
    page = words(client.get("/water", params=BLEND | {"for": "B2"}).text)  # spawning: 4.8-5.5
    assert re.search(
        r"pH with air, after a day \d\.\d\d \([^)]*\) outside window 4.80 to 5.50", page
    )
    assert client.get("/water", params=BLEND | {"for": "Z9"}).status_code == 404


def test_more_of_one_water_makes_room_in_the_same_volume(client: TestClient) -> None:
    answer = client.get("/water", params=BLEND | {"move": "1:0.5"}, follow_redirects=False)
    query = parse_qs(urlsplit(answer.headers["location"]).query)
    assert query["litres0"] == ["16.5"]
    assert query["litres1"] == ["3.5"]
    assert query["dkh0"] == ["0,2"]  # what was typed stays as it was typed
    least = client.get("/water", params=BLEND | {"move": "1:-50"}, follow_redirects=False)
    assert parse_qs(urlsplit(least.headers["location"]).query)["litres1"] == ["0"]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"dkh1": "hard"}, "is no number"),
        ({"ph1": "14"}, "this works from 2 to 11.5"),
        ({"dkh1": "900"}, "KH of tap is 900 °dKH; this works from"),
        ({"litres1": "-3"}, "litres above zero"),
        ({"dkh1": ""}, "KH of tap"),
        ({"celsius1": "nan"}, "is no number"),
    ],
)
def test_what_cannot_be_reckoned_is_refused_and_nothing_typed_is_lost(
    client: TestClient, change: dict[str, str], why: str
) -> None:
    answer = client.get("/water", params=BLEND | change)
    assert answer.status_code == 200
    assert why in words(answer.text)
    assert "pH with air" not in words(answer.text)
    assert 'value="17"' in answer.text


def test_an_empty_bench_says_what_would_be_here(client: TestClient) -> None:
    assert "Here stands what the waters make" in client.get("/water").text


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    query=st.dictionaries(
        st.sampled_from([*BLEND, "for", "move", "litres2", "dkh2"]),
        st.one_of(
            st.text(st.characters(codec="utf-8"), max_size=8),
            st.floats(-5, 40).map(str),
            st.sampled_from(["", "on", "0:1", "2:x", "1e400", "inf"]),
        ),
        max_size=14,
    )
)
def test_nothing_typed_breaks_the_bench(client: TestClient, query: dict[str, str]) -> None:
    assert client.get("/water", params=BLEND | query).status_code in {200, 404}
