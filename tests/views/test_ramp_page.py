"""The ramp: asked for by an address, seen on the tank's chart, and only then started."""

from urllib.parse import urlencode

import pytest
from starlette.testclient import TestClient
from tests.views.reader import Forms, Glass, words
from tests.views.room_of_glass import NOW

from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity

ASKED = {
    "for": "A1",
    "name0": "rain", "litres0": "17", "ph0": "", "dkh0": "0.2", "dgh0": "0.1", "cond0": "12",
    "celsius0": "25",
    "now_ph": "6,6", "now_t": "25.5", "now_us": "120", "now_kh": "1.6", "now_gh": "3",
    "to_low": "", "to_high": "", "to_kh": "0.9", "days": "14",
}  # fmt: skip


def address(path: str = "/water/ramp", **more: str) -> str:
    return f"{path}?{urlencode(ASKED | more)}"


def test_the_way_is_drawn_on_the_tanks_own_chart_before_anything_takes_effect(
    client: TestClient, glass: Glass
) -> None:
    page = client.get(address()).text
    assert "c-plan" in page
    assert "Start the ramp in A1" in page
    assert "pH at most" in words(page), "the paces that are kept are named"
    assert "Unplug heater and pump before hands go in" in words(page)
    assert glass[2].done == []


def test_starting_stores_just_the_plan_that_was_shown(client: TestClient, glass: Glass) -> None:
    form = Forms(client.get(address()).text)["/water/ramp"]
    answer = client.post("/water/ramp", data=form)
    assert answer.url.path == "/tank/A1"
    (done,) = glass[2].done
    assert done[0] == "plan"
    plans = {plan.quantity: plan for plan in done[1]}  # type: ignore[attr-defined]
    assert set(plans) == {Quantity.PH, Quantity.TEMPERATURE, Quantity.CONDUCTIVITY}
    steps = plans[Quantity.PH].steps
    assert steps[0].value == pytest.approx(6.6, abs=0.01)
    assert NOW < steps[0].at_ms < NOW + DAY_MS
    assert "ramp started by somebody at this computer" in answer.text
    page = client.get(address()).text
    ended = client.post("/water/ramp/end", data=Forms(page)["/water/ramp/end"])
    assert "A1 follows no plan any more." in ended.text


def test_too_few_days_show_the_shortest_safe_way_and_offer_no_start(client: TestClient) -> None:
    page = client.get(address(to_kh="0.4", days="1")).text
    assert "1 days are too few" in words(page)
    assert "To start it, ask for" in words(page)
    assert "Start the ramp" not in page
    refused = client.post("/water/ramp", data=Forms(client.get(address()).text)["/water/ramp"]
                          | {"days": "1", "to_kh": "0.4"})  # fmt: skip
    assert refused.status_code == 400
    assert "No ramp was started" in words(refused.text)


def test_what_cannot_be_reckoned_is_said_and_what_was_typed_stays(client: TestClient) -> None:
    page = client.get(address(now_kh="soft")).text
    assert "KH of the tank: &#39;soft&#39; is no number" in page
    assert 'value="soft"' in page
    assert "KH of the tank is missing" in words(client.get(address(now_kh="")).text)
    assert "is no time of day" in words(client.get(address(first="noonish")).text)


def test_the_card_fits_the_ramp_on_paper_without_bar_or_buttons(client: TestClient) -> None:
    page = client.get(address("/water/card")).text
    assert 'class="a5"' in page
    assert page.count("☐") >= 2
    assert "<button" not in page


def test_what_the_probes_say_is_filled_in_already(client: TestClient) -> None:
    page = client.get("/water/ramp?for=A1").text
    assert 'name="now_t" value="2' in page
    assert 'name="now_ph" value="' in page
    assert client.get("/water/ramp?for=Z9").status_code == 404
    assert client.get("/water/ramp").status_code == 400


def test_the_card_says_the_day_of_each_change_for_paper_does_not_know_today(
    client: TestClient,
) -> None:
    card = words(client.get(address("/water/card")).text)
    assert "drawn 12 Nov, 14:31" in card
    assert "12 Nov, 15:00" in card
