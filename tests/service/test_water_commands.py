"""`roewatch water`: what a keeper reads, what a script reads, and how each answer ends."""

import json
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from roewatch.service.cli.water import app
from roewatch.service.settings.shipped import shipped_config

runner = CliRunner()
SAMPLE = shipped_config() / "room.toml"

WELL = "well litres=10 ph=7.8 kh=8.4 gh=8.4 us=340 t=10"
RAIN = "roof rain litres=40 kh=0.05 gh=0.1 us=10 t=12"
RO = "RO ph=5.9 kh=0.1 gh=0.1 us=9 t=20"
A1 = "A1 litres=54 ph=7.4 kh=0.98 gh=3 us=120 t=24"
RAMP = (
    "ramp", A1, "--recipe", "roof rain litres=60 kh=0.015 gh=0.1 us=10 t=15",
    "--target", "ph=5.9..6.2", "--t", "27", "--from", "2026-03-01T16:00:00Z",
)  # fmt: skip


def asked(*words: str) -> Result:
    done = runner.invoke(app, list(words))
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def data(*words: str) -> dict[str, Any]:
    done = asked(*words, "--json")
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_a_blend_shows_both_ph_each_with_its_range() -> None:
    done = asked("blend", WELL, RAIN, "--t", "26")
    assert done.exit_code == 0
    assert "just mixed          pH 7.61 (7.45 to 7.75)" in done.stdout
    assert "after a day of air  pH 7.7 (" in done.stdout
    assert "roof rain: a drop kit cannot see alkalinity this thin" in done.stdout


def test_a_blend_as_json_carries_low_value_and_high() -> None:
    found = data("blend", WELL, RAIN, "--t", "26")
    ph = found["aired_ph"]
    assert ph["low"] < ph["value"] < ph["high"]
    assert found["litres"] == {"well": 10.0, "roof rain": 40.0}


def test_tap_water_is_warned_of_for_its_chlorine() -> None:
    found = data("blend", WELL.replace("well", "tap"), RAIN)
    assert any("chloramine" in caution for caution in found["cautions"])
    assert not any("chloramine" in c for c in data("blend", WELL, RAIN)["cautions"])


def test_moving_one_source_keeps_the_volume() -> None:
    found = data("blend", WELL, RAIN, "--move", "well=25")
    assert found["litres"] == {"well": 25.0, "roof rain": 25.0}


def test_a_wanted_water_becomes_litres() -> None:
    found = data("blend", WELL, RO, "--want", "gh=2 us=85", "--litres", "60")
    assert sum(found["litres"].values()) == pytest.approx(60.0, abs=0.2)
    assert found["dgh"]["value"] == pytest.approx(2.0, abs=0.1)
    assert found["conductivity"]["value"] == pytest.approx(85.0, abs=3.0)


def test_a_wanted_water_out_of_reach_ends_with_1_and_the_nearest() -> None:
    words = ("blend", WELL, RO, "--want", "ph=6.0 gh=2", "--litres", "60", "--t", "26")
    done = asked(*words)
    assert done.exit_code == 1
    assert "The nearest these waters come" in done.stdout
    assert "organic acid" in done.stderr
    assert "lies outside" in data(*words)["refused"]


@pytest.mark.parametrize(
    ("water", "says"),
    [
        ("well litres=10 ph=7,8 kh=8", "Write a point: 7.8"),
        ("well litres=10 ph=7.8", "give its kh"),
        ("well litres=ten kh=1", "is no number"),
        ("well litres=10 kh=1 ec=300", "'ec' is unknown"),
        ("well ph=7.8 kh=8", "how much of it? Add litres=10"),
        ("well litres=10 ph=99 kh=8", "this works from 2 to 11.5"),
        ("rain litres=10 ph=4.7 alk=-0.02", "CO2 of the air instead"),
    ],
)
def test_a_water_wrongly_typed_ends_with_2_and_the_cure(water: str, says: str) -> None:
    done = asked("blend", water, RAIN)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert says in done.stderr


def test_an_acid_dose_names_dip_bounce_and_the_order_of_work() -> None:
    done = asked("acid", "vat litres=60 kh=1 gh=2 us=80 ph=7.5 t=25", "--ph", "7.0")
    assert done.exit_code == 0
    assert "All at once pH dips to 6.04, and comes back to 7.00" in done.stdout
    assert "never water into acid" in done.stdout
    assert "Gloves and eye protection" in done.stdout
    assert "residual-current device" in done.stdout
    assert "Give 69 mL, air for a day" in done.stdout


def test_an_acid_dose_by_days_never_falls_faster_than_allowed() -> None:
    found = data(
        "acid", "vat litres=60 kh=1 gh=2 us=80 ph=7.5 t=25", "--ph", "7.0", "--per-day", "0.3"
    )
    assert len(found["days"]) > 1
    assert all(day["before_ph"] - day["at_once_ph"] <= 0.3 + 1e-4 for day in found["days"])
    assert sum(day["millilitres"] for day in found["days"]) == pytest.approx(
        found["millilitres"], abs=0.01
    )


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--ph", "6.0"), "Titrate one litre"),
        (("--dose", "0.5"), "No animal bears that"),
        (("--ph", "7.0", "--normal", "12"), "Dilute it"),
        ((), "one of the two"),
    ],
)
def test_an_acid_dose_that_should_not_be_given_is_refused(
    words: tuple[str, ...], says: str
) -> None:
    done = asked("acid", "vat litres=60 kh=1 gh=2 us=80 ph=7.5 t=25", *words)
    assert done.exit_code == 2
    assert says in done.stderr


STEPS = [w for s in ("0:7.2", "2:6.9", "4:6.65", "6:6.42", "8:6.2") for w in ("--step", s)]


def test_a_bench_series_becomes_a_dose() -> None:
    found = data("titrate", *STEPS, "--ph", "6.42", "--litres", "54")
    assert found["total"] == pytest.approx(324.0)
    assert found["first_half"] == pytest.approx(162.0)


def test_a_bench_series_is_never_carried_on() -> None:
    done = asked("titrate", *STEPS, "--ph", "5.5", "--litres", "54")
    assert done.exit_code == 2
    assert "never guessed" in done.stderr


def test_a_ramp_is_a_dated_table_with_its_limits_and_cautions() -> None:
    done = asked(*RAMP, "--days", "14", "--heater", "50")
    assert done.exit_code == 0
    assert "Sun 01 Mar 16:00" in done.stdout
    assert "Kept throughout" in done.stdout
    assert "pH at most 0.3 up and at most 0.2 down in 24 h" in done.stdout
    assert "Unplug heater and pump" in done.stdout


def test_a_ramp_too_fast_ends_with_1_and_shows_the_shortest() -> None:
    done = asked(*RAMP, "--days", "5")
    assert done.exit_code == 1
    assert "The shortest safe plan" in done.stdout
    assert "5 days are too few" in done.stderr
    found = data(*RAMP, "--days", "5")
    assert found["shortest"]["days"] == len(found["shortest"]["steps"]) > 5


def test_a_ramp_as_json_carries_the_plans_for_the_probes() -> None:
    found = data(*RAMP, "--days", "20")
    assert {plan["quantity"] for plan in found["plans"]} == {"temperature", "ph", "conductivity"}
    assert found["steps"][0]["at"] == "2026-03-01T16:00:00Z"


def test_a_ramp_takes_litres_heater_and_limits_from_the_room() -> None:
    words = list(RAMP)
    words[1] = "A1 ph=7.4 kh=0.98 gh=3 us=120 t=24"
    done = asked(*words, "--days", "60", "--room", str(SAMPLE))
    assert done.exit_code == 0, done.stderr
    assert "Times are Europe/Tallinn" in done.stdout
    assert "Sun 01 Mar 18:00" in done.stdout
    words[1] = "Z9 ph=7.4 kh=0.98 gh=3 us=120 t=24"
    gone = asked(*words, "--room", str(SAMPLE))
    assert gone.exit_code == 2
    assert "no tank 'Z9'" in gone.stderr


def test_a_ramp_planned_again_waits_for_what_the_tank_was_put_through() -> None:
    words = list(RAMP)
    words[1] = "A1 litres=54 ph=6.9 kh=0.31 gh=1.2 us=48 t=24"
    done = asked(*words, "--days", "30", "--seen", "2026-03-01T06:00Z ph=7.4 us=120 gh=3 kh=0.98")
    assert done.exit_code == 0, done.stderr
    assert "Mon 02 Mar 06:00" in done.stdout
    assert "waits until 2026-03-02T06:00:00" in done.stdout
    late = asked(*words, "--seen", "2026-03-05T06:00Z ph=7.4")
    assert late.exit_code == 2
    assert "a time before the first change" in late.stderr


def test_a_heater_too_weak_ends_with_2() -> None:
    done = asked(*RAMP, "--days", "20", "--heater", "10")
    assert done.exit_code == 2
    assert "would stop at" in done.stderr


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (("ammonia", "--total", "0.2", "--ph", "6.5", "--t", "26"), 0, "0.02 mg/L NH3 for holding"),
        (("ammonia", "--total", "2", "--ph", "8", "--t", "26"), 1, "Above the limit."),
        (
            ("ammonia", "--total", "0.8", "--as", "NH4", "--ph", "6.1", "--t", "26",
             "--ph-after", "7.6"),
            1,
            "With pH off by 0.1, above the limit.",
        ),
        (("oxygen", "--t", "25", "--mg", "8"), 0, "8 mg/L is 97 % full"),
        (("oxygen", "--t", "27", "--mg", "4.4", "--altitude", "300"), 1, "Add air now"),
        (("dioxide", "--ph", "6.8", "--kh", "3", "--t", "25"), 0, "16 (11 to 23) mg/L CO2"),
        (("dioxide", "--ph", "6.2", "--kh", "3", "--t", "25"), 1, "Air the water now"),
        (("hardness", "1", "--in", "meq/L"), 0, "2.80  dH"),
        (("hardness", "--ca", "72", "--mg", "26"), 0, "16.1  dH"),
        (("conductivity", "92", "--t", "18"), 0, "107.5 µS/cm at 25 °C"),
        (("conductivity", "100", "--at", "20"), 0, "89.6 µS/cm raw at 20 °C"),
        (
            ("change", "--now", "6", "--source", "0.2", "--percent", "20", "--wanted", "2"),
            0,
            "6   1.72",
        ),
        (("topup", "--litres", "20", "--lost", "2.6", "--now", "100"), 0, "it is 100.0"),
        (("brine", "--litres", "2", "--salt", "15"), 0, "30 g of salt"),
        (
            ("electrode", "--point", "technical 7.00=-5", "--point", "4.01=169", "--t", "25"),
            0,
            "98.4 % of a perfect one",
        ),
        (
            ("electrode", "--point", "7.00=0", "--point", "4.00=150", "--t", "25"),
            1,
            "replace",
        ),
    ],
)  # fmt: skip
def test_a_reading_is_answered_with_its_status(
    words: tuple[str, ...], status: int, says: str
) -> None:
    done = asked(*words)
    assert done.exit_code == status, done.stdout + done.stderr
    assert says in done.stdout
    assert isinstance(data(*words), dict)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("dioxide", "--ph", "5.8", "--kh", "0.5", "--t", "25"), "several times too high"),
        (("dioxide", "--ph", "7", "--kh", "4", "--t", "25", "--tannin"), "with tannins"),
        (("ammonia", "--total", "1", "--as", "ppm", "--ph", "7", "--t", "25"), "use N or NH4"),
        (("oxygen", "--t", "60"), "this works from 0\u00a0to\u00a040\u00a0°C"),
        (("hardness",), "give a value"),
        (("change", "--now", "6", "--source", "3", "--percent", "20", "--wanted", "2"),
         "can never bring"),
        (("topup", "--litres", "20", "--lost", "12", "--now", "100"), "Look for a leak"),
        (("brine", "--litres", "1", "--salt", "90"), "this works from 5\u00a0to\u00a035\u00a0g/L"),
        (("electrode", "--point", "7.00=0", "--point", "6.9=3", "--t", "25"), "less than 2 pH"),
        (("electrode", "--point", "seven=0", "--point", "4=3", "--t", "25"), "is unknown"),
    ],
)  # fmt: skip
def test_what_cannot_be_answered_ends_with_2_and_the_reason(
    words: tuple[str, ...], says: str
) -> None:
    done = asked(*words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert says in done.stderr
    assert says in data(*words)["refused"]


def test_a_drip_says_rate_hours_and_what_to_watch() -> None:
    bag = "A1 litres=4 ph=6.8 kh=0.42 gh=1 us=50 t=27"
    done = asked("drip", "--bag", bag, "--tank", "B1 ph=7.1 kh=1.1 gh=3 us=150 t=25")
    assert done.exit_code == 0
    assert "drops a second" in done.stdout
    assert "ammonia" in done.stdout
    far = asked("drip", "--bag", bag, "--tank", "B1 ph=7.9 kh=8 gh=9 us=400 t=25")
    assert far.exit_code == 1
    assert "ramp it over days" in far.stderr


def test_with_the_room_a_water_is_known_by_its_name_and_what_is_typed_wins() -> None:
    known = data("blend", "well litres=10", "Roof rain litres=40", "--room", str(SAMPLE))
    typed = data("blend", WELL, RAIN.replace("roof", "Roof"))
    assert known == typed
    harder = data("blend", "well litres=10 gh=12", "Roof rain litres=40", "--room", str(SAMPLE))
    assert harder["dgh"]["value"] > known["dgh"]["value"]
    done = asked("blend", "well litres=10", "roof rain litres=40", "--room", str(SAMPLE))
    assert "well: as measured on 2026-02-14" in done.stderr
    want = data("blend", "well", "RO", "--want", "gh=2 us=85", "--room", str(SAMPLE))
    assert set(want["litres"]) == {"well", "RO"}


def test_more_of_a_water_than_there_is_is_refused() -> None:
    done = asked("blend", "well litres=10", "RO litres=500", "--room", str(SAMPLE))
    assert done.exit_code == 2
    assert "RO: 500 L asked, 120 L are there" in done.stderr


def test_a_water_the_room_does_not_have_is_said_with_those_it_has() -> None:
    done = asked("blend", "spring litres=10", "RO litres=50", "--room", str(SAMPLE))
    assert done.exit_code == 2
    assert "The room has roof rain, RO, well." in done.stderr
    for command in (
        ("acid", "RO litres=60", "--dose", "0.01"),
        ("drip", "--bag", "A1 litres=4 ph=6.8 kh=0.42 gh=1 us=50 t=27", "--tank", "well"),
    ):
        assert asked(*command, "--room", str(SAMPLE)).exit_code in {0, 1}


def test_what_a_ramp_keeps_says_which_figure_is_our_own() -> None:
    assert "5\u202fµS/cm is always allowed; that figure is our own" in asked(*RAMP).stdout


def test_a_ramp_leaves_free_what_ph_moves_by_itself() -> None:
    done = asked(*RAMP, "--days", "60", "--ph-swing", "0.06")
    assert done.exit_code == 0
    assert "pH at most 0.24 up and at most 0.14 down in 24 h" in done.stdout
    assert "less 0.06 that pH moves by itself" in done.stdout
