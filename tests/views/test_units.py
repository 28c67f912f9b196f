"""Each browser reads in its own units; differences convert as differences."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient
from tests.views.room_of_glass import usual
from tests.views.test_pages import Forms, Glass, cell, client_of, words

from roewatch.room.moment import HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.window import RateLimit, Window
from roewatch.views.units import KEPT_UNITS, Units

F = Units(fahrenheit=True)
T = Quantity.TEMPERATURE


@pytest.fixture
def glass() -> Glass:
    return usual()


@pytest.fixture
def client(glass: Glass) -> Iterator[TestClient]:
    with client_of(glass) as client:
        yield client


def choose(client: TestClient, *units: str) -> None:
    form = Forms(client.get("/").text)["/units"]
    kept = {name: form[name] for name in ("token", "back")}
    client.post("/units", data=kept | dict.fromkeys(units, "on"))


def test_water_boils_and_freezes_where_the_thermometers_say() -> None:
    """0 °C is 32 °F and 100 °C is 212 °F: NIST Special Publication 811, B.8."""
    assert (F.value(T, 0.0), F.value(T, 100.0)) == (32.0, 212.0)
    assert F.difference(T, 1.0) == 1.8
    assert F.window_text(T, Window(low=24.0, high=27.0)) == "75.2 to 80.6\u00a0°F"
    assert F.shown(Quantity.PH, 5.3) == "pH 5.30"


def test_gallons_and_hardness_are_the_standards() -> None:
    """A US gallon is 3.785411784 L (NIST Handbook 44); one German degree is 17.85 ppm CaCO3."""
    assert Units(gallons=True).litres(37.85411784) == "10.0 US gal"
    assert Units(ppm=True).hardness("°dGH")[1] == pytest.approx(17.85, abs=0.01)
    assert KEPT_UNITS.litres(54.0) == "54 L"


@given(st.floats(-20, 60), st.floats(-5, 5))
def test_a_difference_of_values_is_the_difference_converted(value: float, by: float) -> None:
    far = F.value(T, value + by) - F.value(T, value)
    assert far == pytest.approx(F.difference(T, by), abs=1e-9)


@given(st.lists(st.sampled_from(["f", "ppm", "gal", "", "x", "<b>"])))
def test_a_cookie_of_any_words_is_read_and_written_again(chosen: list[str]) -> None:
    units = Units.of(".".join(chosen))
    assert Units.of(units.words) == units


def test_the_choice_stays_with_the_browser_on_every_page(client: TestClient, glass: Glass) -> None:
    before = cell(client.get("/").text, "A1")
    choose(client, "f", "gal")
    after = cell(client.get("/").text, "A1")
    celsius = float(before.split("temperature ")[1].split("°")[0])
    assert f"temperature {celsius * 1.8 + 32:.0f}" in after.replace(".", " ", 1)
    page = words(client.get("/tank/A1").text)
    assert "US gal" in page
    assert "°F" in page
    assert "°C" not in page.split("Records")[0].replace("25.8 °C", "")
    chart = client.get("/tank/A1").text
    assert 'data-unit="°F"' in chart
    choose(client)
    assert cell(client.get("/").text, "A1") == before


def test_a_limit_of_one_degree_an_hour_is_one_point_eight() -> None:
    glass = usual()
    first, *others = glass[0].room.tanks
    warm = replace(first, rates={T: (RateLimit(span_ms=HOUR_MS, rise=1.0, fall=1.0),)})
    glass[0].room = replace(glass[0].room, tanks=(warm, *others))
    glass[1].kept_room = glass[0].room
    with client_of(glass) as client:
        choose(client, "f")
        page = words(client.get("/tank/A1").text)
    assert "limit 1.8 °F in 1 h" in page
    assert "33.8" not in page


def test_hardness_of_a_blend_is_shown_in_parts_per_million(client: TestClient) -> None:
    query = "/water?name0=tap&litres0=10&dkh0=4&dgh0=10&celsius0=25"
    assert "general hardness 10.0 °dGH" in words(client.get(query).text)
    choose(client, "ppm")
    assert "general hardness 178 ppm CaCO3" in words(client.get(query).text)
