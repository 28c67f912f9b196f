"""Each browser reads in its own units; differences convert as differences."""

import re
from dataclasses import replace
from decimal import Decimal
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient
from tests.journeys.served import WebPlace
from tests.views.reader import BASE, Forms, Glass, cell, client_of, words
from tests.views.room_of_broods import Nursery, over
from tests.views.room_of_glass import NOW, PAST, usual
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.alarms.token import make_token
from roewatch.judging.cycle import Cycle
from roewatch.judging.heater_text import heater_text
from roewatch.judging.limits import Limits
from roewatch.room.kind import Kind
from roewatch.room.moment import HOUR_MS
from roewatch.room.quantity import Quantity
from roewatch.room.window import RateLimit, Window, window_of_text
from roewatch.views.app import app_of
from roewatch.views.typed import IN, kept_fields, shown_fields
from roewatch.views.units import KEPT_UNITS, Of, Units
from roewatch.views.visitor import Access

F = Units(fahrenheit=True)
T = Quantity.TEMPERATURE


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


ON = (False, True)
EVERY = [Units(fahrenheit=f, ppm=p, gallons=g) for f in ON for p in ON for g in ON]
units_of_somebody = st.sampled_from(EVERY)


@given(units_of_somebody, st.sampled_from(Of), st.floats(-100, 10_000))
def test_what_is_typed_comes_back_as_it_was_meant(units: Units, what: Of, kept: float) -> None:
    assert units.kept_of(what, units.shown_of(what, kept)) == pytest.approx(kept, abs=1e-9)


@given(units_of_somebody, st.sampled_from(Of), st.floats(-100, 10_000), st.floats(1e-6, 10))
def test_more_stays_more_whatever_it_is_read_in(
    units: Units, what: Of, kept: float, more: float
) -> None:
    assert units.shown_of(what, kept + more) > units.shown_of(what, kept)


@given(units_of_somebody, units_of_somebody, st.sampled_from(Of), st.decimals(0, 200, places=2))
def test_a_form_means_the_same_in_a_browser_that_reads_other_units(
    typed: Units, chosen: Units, what: Of, number: Decimal
) -> None:
    measures = {"x": what}
    form = {"x": str(number), "y": "20", IN: typed.words}
    kept = kept_fields(form, measures)
    assert float(kept["x"]) == pytest.approx(typed.kept_of(what, float(number)), abs=1e-11)
    assert kept["y"] == "20", "what measures nothing is left alone"
    elsewhere = shown_fields(kept, measures, chosen)
    again = kept_fields(elsewhere, measures)
    assert float(again["x"]) == pytest.approx(float(kept["x"]), rel=1e-5, abs=1e-4)


@pytest.mark.parametrize("text", ["", "hard", "7,", "1e999", "nan", "<b>"])
def test_what_is_no_number_stays_as_it_was_typed(text: str) -> None:
    measures = {"x": Of.WARMTH}
    kept = kept_fields({"x": text, IN: "f"}, measures)
    if text != "7,":
        assert kept["x"] == text
    assert shown_fields({"x": text}, measures, KEPT_UNITS)["x"] == text


@given(st.floats(0.01, 500), units_of_somebody)
def test_water_to_pour_is_never_rounded_up(litres: float, units: Units) -> None:
    number, _, unit = units.poured(litres).partition(" ")
    kept = float(number) * (3.785411784 if unit == "US gal" else 1.0)
    assert kept <= litres + 1e-6
    assert litres - kept < 0.11


def test_water_typed_in_other_units_is_the_same_water(client: TestClient) -> None:
    """10 L of 4 °dKH and 10 °dGH at 25 °C: 2.6417205 US gal, 71.392 and 178.48 ppm, 77 °F."""
    plain = "name0=tap&litres0=10&dkh0=4&dgh0=10&celsius0=25&ph0=7.6&cond0=400"
    other = "name0=tap&litres0=2.6417205236&dkh0=71.3918&dgh0=178.48&celsius0=77&ph0=7.6&cond0=400"
    usual = blend_of(client.get(f"/water?{plain}").text)
    assert blend_of(client.get(f"/water?{other}&in=f.ppm.gal").text) == usual
    choose(client, "f", "ppm", "gal")
    # a bookmark from before still means degrees and litres, and is shown in the other units
    page = client.get(f"/water?{plain}").text
    assert blend_of(page)[0] == usual[0]
    held = Forms(page)["/water#gives"]
    assert (held["in"], held["celsius0"], held["litres0"]) == ("f.ppm.gal", "77", "2.64172")
    assert (held["dkh0"], held["dgh0"]) == ("71.3918", "178.48")
    said = words(page)
    assert "US gal" in said
    assert "KH, ppm CaCO3" in said
    assert "°F" in said
    assert "°C" not in said.split("Calibrate")[1].split("Find a tank")[0]
    again = client.get("/water", params={**held, "for": ""}).text
    assert blend_of(again)[0] == usual[0]


def blend_of(page: str) -> list[str]:
    """The numbers of a blend, as the page tells them."""
    table = page.split('<table class="blend">')[1].split("</table>", maxsplit=1)[0]
    return [words(row) for row in table.split("</tr>")[:-1]]


def test_a_press_moves_half_of_the_unit_that_is_read(client: TestClient) -> None:
    choose(client, "gal")
    query = {
        "in": "gal", "name0": "rain", "litres0": "4", "dkh0": "0.1", "name1": "tap",
        "litres1": "1", "dkh1": "7", "move": "1:0.5",
    }  # fmt: skip
    answer = client.get("/water", params=query, follow_redirects=False)
    moved = parse_qs(urlsplit(answer.headers["location"]).query)
    assert moved["in"] == ["gal"]
    assert float(moved["litres1"][0]) == pytest.approx(1.5, abs=0.002)
    assert float(moved["litres0"][0]) == pytest.approx(3.5, abs=0.002)


RAMP = {
    "for": "A1", "name0": "rain", "litres0": "17", "dkh0": "0.05", "dgh0": "0.1", "cond0": "10",
    "now_ph": "6.6", "now_t": "25", "now_kh": "3", "now_gh": "5", "now_us": "220",
    "to_low": "5.8", "to_high": "6.5", "to_t": "26", "days": "20", "first": "18:00",
}  # fmt: skip


def test_a_ramp_typed_in_other_units_is_the_same_ramp(client: TestClient, glass: Glass) -> None:
    client.post("/water/ramp", data=RAMP | sealed(client))
    other = RAMP | {
        "in": "f.ppm.gal", "litres0": "4.49092489", "dkh0": "0.892", "dgh0": "1.785", "now_t": "77",
        "now_kh": "53.543", "now_gh": "89.239", "to_t": "78.8",
    }  # fmt: skip
    client.post("/water/ramp", data=other | sealed(client))
    _, *plans = glass[0].kept_plans  # the first was there before
    first, second = plans[: len(plans) // 2], plans[len(plans) // 2 :]
    assert [plan.quantity for plan in first] == [plan.quantity for plan in second]
    for one, two in zip(first, second, strict=True):
        for here, there in zip(one.steps, two.steps, strict=True):
            assert here.at_ms == there.at_ms
            assert here.value == pytest.approx(there.value, abs=2e-3)


def test_the_way_of_a_ramp_is_told_in_the_units_that_are_read(client: TestClient) -> None:
    plain = client.get("/water/ramp", params=RAMP).text
    assert " L, " in words(plain)
    choose(client, "f", "ppm", "gal")
    page = client.get("/water/ramp", params=RAMP).text
    held = Forms(page)["/water/ramp#way"]
    assert (held["now_t"], held["to_t"], held["in"]) == ("77", "78.8", "f.ppm.gal")
    said = words(page).split("The way")[1].split("What is kept")[0]
    assert "78.8 °F" in said
    assert "US gal" in said
    assert "°C" not in said
    started = Forms(page)["/water/ramp"]
    assert (started["in"], started["now_t"]) == ("f.ppm.gal", "77")
    card = words(client.get("/water/card", params=RAMP).text)
    assert "78.8 °F" in card
    assert " L " not in card


def sealed(client: TestClient) -> dict[str, str]:
    return {"token": Forms(client.get("/").text)["/theme"]["token"]}


def test_a_rack_laid_out_in_gallons_holds_litres() -> None:
    """75 L is 19.8129 US gal (NIST Handbook 44: 3.785411784 L)."""
    workshop = GlassWorkshop()
    app = app_of(*usual(), settings=WebPlace(), past=PAST, workshop=workshop)
    with TestClient(app, base_url=BASE, client=("127.0.0.1", 50000)) as client:
        choose(client, "gal")
        form = Forms(client.get("/setup").text)["/setup/rack"]
        assert form["litres"] == "5.28344"
        typed = form | {"rack": "C", "shelf1": "2", "litres": "19.8129"}
        assert client.post("/setup/rack", data=typed).status_code == 200
    (deed,) = workshop.done
    assert deed[:3] == ("rack", "C", [2])
    assert deed[3] == pytest.approx(75.0, abs=1e-3)


def test_a_thermometer_is_calibrated_in_the_degrees_that_are_read() -> None:
    """Melting ice is 32 °F, and 77 °F is 25 °C: NIST Special Publication 811, B.8."""
    workshop = GlassWorkshop()
    app = app_of(*usual(), settings=WebPlace(), past=PAST, workshop=workshop)
    with TestClient(app, base_url=BASE, client=("127.0.0.1", 50000)) as client:
        choose(client, "f")
        page = client.get("/water/calibrate?probe=a1-temp").text
        assert "true value, °F" in words(page)
        form = dict(Forms(page).found)["/water/calibrate"]  # the one that calibrates
        typed = form | {"read1": "33.8", "true1": "32", "read2": "77,9", "true2": "77"}
        assert client.post("/water/calibrate", data=typed).status_code == 200
        shown = Forms(client.get("/water/calibrate?probe=a1-ph").text)
        ph = dict(shown.found)["/water/calibrate"]
        assert ph["celsius1"] == "77"
        client.post("/water/calibrate", data=ph | {"read1": "4.12", "true1": "4"})
    assert workshop.done == [
        ("calibrate", "a1-temp", ["1=0", "25.5=25"], False),
        ("calibrate", "a1-ph", ["4.12=4@25"], False),
    ]


def test_a_report_tells_its_water_in_the_degrees_that_are_read(keeper: TestClient) -> None:
    kept = words(keeper.get("/broods/2026-11/report").text)
    assert "temperature, °C" in kept
    choose(keeper, "f")
    told = words(keeper.get("/broods/2026-11/report").text)
    assert "temperature, °F" in told
    assert re.search(r"Last 7\d\.\d °F at", told), "the charts and their sentences"
    assert not re.search(r"Last 2\d\.\d °C at", told)
    water = told.split("Water by stage")[1].split("Alarms")[0]
    assert "°C" not in water
    row = re.search(r"temperature, °F ([\d.]+) to ([\d.]+) °F ([\d.]+) ([\d.]+) ([\d.]+)", water)
    assert row is not None, water
    assert all(60 < float(number) < 100 for number in row.groups())


def test_groups_of_warmth_and_what_is_said_of_them_are_in_the_same_degrees(
    keeper: TestClient, room: Nursery
) -> None:
    room[3].record([r for n in range(40, 44) for r in over(f"2026-{n}", "A5", 60)])
    choose(keeper, "f")
    page = words(keeper.get("/broods/compare?by=temperature").text)
    assert "°F" in page
    assert "°C" not in page


def test_the_sitter_reads_windows_in_the_degrees_of_the_house(client: TestClient) -> None:
    choose(client, "f")
    sheet = words(client.get("/sitter").text)
    assert " °F " in sheet
    assert "76–80" in sheet  # 24 to 27 °C are 75.2 to 80.6: a bound is rounded to the inside


def test_an_alarm_keeps_its_words_and_tells_its_numbers_beside_them(client: TestClient) -> None:
    said = "24.1 °C, falling 0.42 °C an hour"
    assert "°F" not in words(
        client.get("/alarms").text.split('id="no-41"')[1].split("</article>")[0]
    )
    choose(client, "f")
    for address in ("/alarms", "/alarms/41", "/tank/A4"):
        page = words(client.get(address).text)
        assert said in page, "as it was sent to the phone"
        assert "75.4 °F, window 71.6 to 82.4 °F" in page, address
    number_42 = client.get("/alarms/42").text
    assert "°F, window" not in words(number_42), "pH is the same everywhere"


def test_a_new_alarm_is_told_in_fahrenheit_wherever_it_stands(glass: Glass) -> None:
    alarms = glass[0].kept_alarms
    said = heater_text(Kind.HEATER_DEAD, 24.1, -0.6, Cycle(Limits()), HOUR_MS)
    alarms[:] = [replace(a, message=said) if a.number in {41, 42} else a for a in alarms]
    raised = next(a for a in alarms if a.number == 42)
    key = b"a key of these tests, 32 bytes.."
    token = make_token(key, raised, by="Keeper", issued_ms=NOW, lives_ms=HOUR_MS)
    with client_of(glass, access=Access(link_key=key)) as client:
        assert words(said) in words(client.get("/alarms").text)
        choose(client, "f")
        for address in ("/alarms", "/alarms/41", "/tank/A4", f"/acknowledge/{token}"):
            page = words(client.get(address).text)
            assert "75.4 °F, falling 1.1 °F/h; " in page, address
            assert "24.1 °C" not in page, address
            assert "window 71.6 to 82.4 °F First" not in page, "its numbers are not said twice"


@given(st.floats(-50, 500), st.floats(0.1, 100), st.integers(0, 3), st.sampled_from("lhb"))
def test_a_windows_text_is_read_back_to_the_digits_it_was_written_with(
    low: float, width: float, digits: int, sides: str
) -> None:
    window = Window(low=None if sides == "h" else low, high=None if sides == "l" else low + width)
    read = window_of_text(window.text(digits))
    apart = sides != "b" or round(low, digits) < round(low + width, digits)
    assert (read is not None) == apart
    assert read is None or read.text(digits) == window.text(digits)


@pytest.mark.parametrize("text", ["", "1 °C in 1 h", "24-", "at most", "24.0-27.0 °C"])
def test_what_is_no_windows_text_is_none(text: str) -> None:
    assert window_of_text(text) is None
