"""Each fault does what its name says, and nothing else."""

from statistics import mean, pstdev

import pytest

from roewatch.room.journal import Deed
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import OF_THE_ROOM, FaultKind, SimFault
from roewatch_sim.heat import HeatSpec
from roewatch_sim.keeper import Calibrating
from roewatch_sim.probe import ProbeSpec
from roewatch_sim.room import Sample, SimRoom
from roewatch_sim.tank import TankSpec
from roewatch_sim.water import WaterSpec

START_MS = 1_764_028_800_000  # 2025-11-25T00:00:00Z
FAULT_MS = START_MS + 6 * HOUR_MS
TEMPERATURE, PH = Quantity.TEMPERATURE, Quantity.PH


class Played:
    """Half a day in which one fault struck after six hours, and what was heard."""

    def __init__(self, kind: FaultKind, tank: str = "A3", *, hours: float = 6.0, **more: object):
        self.room = boathouse(1, START_MS)
        self.room.inject(SimFault(kind, tank, FAULT_MS, **more))  # type: ignore[arg-type]
        self.samples = list(self.room.run(FAULT_MS + round(hours * HOUR_MS)))

    def heard(self, tank: str = "A3", quantity: Quantity = TEMPERATURE) -> list[Sample]:
        return [s for s in self.samples if s.tank == tank and s.quantity is quantity]

    def after(self, tank: str = "A3", quantity: Quantity = TEMPERATURE) -> list[float]:
        # a fault takes hold within one step of a minute
        return [s.value for s in self.heard(tank, quantity) if s.at_ms >= FAULT_MS + MINUTE_MS]

    def before(self, tank: str = "A3", quantity: Quantity = TEMPERATURE) -> list[float]:
        return [s.value for s in self.heard(tank, quantity) if s.at_ms < FAULT_MS]


@pytest.fixture(scope="module")
def quiet() -> list[Sample]:
    return list(boathouse(1, START_MS).run(FAULT_MS + 6 * HOUR_MS))


def test_a_dead_heater_lets_the_tank_cool_towards_the_room() -> None:
    played = Played(FaultKind.HEATER_DEAD, hours=48)
    truth = played.room.truth("A3")
    assert not truth.heater_on
    assert truth.celsius == pytest.approx(truth.room_c, abs=1.0)


def test_a_dead_heater_takes_the_tank_out_of_its_window_below() -> None:
    played = Played(FaultKind.HEATER_DEAD)
    (out,) = [e for e in played.room.excursions if e.tank == "A3"]
    assert out.quantity is TEMPERATURE
    assert out.low
    assert out.until_ms is None


def test_a_mended_heater_brings_it_back() -> None:
    played = Played(FaultKind.HEATER_DEAD, hours=20, until_ms=FAULT_MS + 6 * HOUR_MS)
    assert played.room.truth("A3").celsius == pytest.approx(26.5, abs=0.4)
    (out,) = [e for e in played.room.excursions if e.tank == "A3"]
    assert out.until_ms is not None


def test_a_heater_stuck_on_passes_its_switch_point_and_goes_on() -> None:
    played = Played(FaultKind.HEATER_STUCK_ON, hours=48)
    truth = played.room.truth("A3")
    tank = played.room.tanks["A3"].spec.heat
    assert truth.celsius == pytest.approx(
        truth.room_c + tank.heater_watts / tank.loss_w_per_k, abs=1.0
    )


def minutes_heating(room: SimRoom) -> int:
    """Of the next 24 hours, the minutes in which A3's heater gave heat."""
    on = 0
    for _ in range(24 * 60):
        list(room.run(room.clock_ms + MINUTE_MS))
        on += room.truth("A3").heater_on
    return on


def test_a_heater_of_half_its_watts_heats_twice_as_long() -> None:
    well, weak = boathouse(1, START_MS), boathouse(1, START_MS)
    weak.inject(SimFault(FaultKind.HEATER_WEAK, "A3", START_MS, strength=0.5))
    assert minutes_heating(weak) == pytest.approx(2 * minutes_heating(well), rel=0.1)


def test_a_heater_much_too_weak_no_longer_holds_the_tank() -> None:
    played = Played(FaultKind.HEATER_WEAK, hours=48, strength=0.2)
    assert played.room.truth("A3").celsius < 25.5
    assert played.room.truth("A3").heater_on


def test_a_dry_thermometer_falls_to_the_rooms_air_in_minutes_and_the_water_does_not() -> None:
    played = Played(FaultKind.PROBE_DRY)
    assert played.after()[30] == pytest.approx(played.after("room")[30], abs=0.7)
    assert played.room.truth("A3").celsius == pytest.approx(26.5, abs=0.5)


def test_a_stuck_probe_repeats_its_last_word() -> None:
    played = Played(FaultKind.PROBE_STUCK)
    assert set(played.after()) == {played.before()[-1]}


def test_a_probe_stuck_from_the_first_minute_repeats_its_first_word() -> None:
    room = boathouse(1, START_MS)
    room.inject(SimFault(FaultKind.PROBE_STUCK, "A3", START_MS))
    said = [s.value for s in room.run(START_MS + HOUR_MS) if s.tank == "A3"]
    temperatures = {value for value in said if value > 15}
    assert len(temperatures) == 1


def test_a_silent_probe_says_nothing_and_its_neighbour_goes_on() -> None:
    played = Played(FaultKind.PROBE_SILENT)
    assert played.after() == []
    assert len(played.after(quantity=PH)) >= 358


def test_a_silent_room_says_nothing_at_all() -> None:
    played = Played(FaultKind.PROBE_SILENT, "")
    assert all(sample.at_ms < FAULT_MS + MINUTE_MS for sample in played.samples)


def test_silence_ends() -> None:
    played = Played(FaultKind.PROBE_SILENT, until_ms=FAULT_MS + HOUR_MS)
    assert len(played.after()) == pytest.approx(300, abs=2)


def test_a_noisy_probe_scatters_about_the_truth() -> None:
    played = Played(FaultKind.PROBE_NOISY)
    assert pstdev(played.after()) > 2 * pstdev(played.before())
    assert mean(played.after()) == pytest.approx(mean(played.before()), abs=0.15)


def test_a_buffered_tank_with_a_quiet_electrode_may_say_the_same_for_a_week() -> None:
    spec = TankSpec(
        id="Q", heat=HeatSpec(litres=60, heater_watts=100, loss_w_per_k=6), set_c=25.0,
        water=WaterSpec(ph=7.8, breath_mmol_h=0, plants_mmol_h=0, eaten_per_day=0),
        half_band=0.05, probe_specs={PH: ProbeSpec(noise=0.0, step=0.01)},
    )  # fmt: skip
    room = SimRoom([spec], seed=1, start_ms=START_MS, every_ms=10 * MINUTE_MS)
    said = {s.value for s in room.run(START_MS + 7 * DAY_MS) if s.quantity is PH}
    assert len(said) <= 2


def test_a_drifting_electrode_leaves_the_truth_by_its_strength_a_day() -> None:
    played = Played(FaultKind.PROBE_DRIFT, "B2", hours=48, strength=0.2)
    said, truth = played.after("B2", PH)[-1], played.room.truth("B2").ph
    assert said - truth == pytest.approx(0.4, abs=0.1)


def test_a_cold_room_loses_its_heating_and_the_tanks_heat_on() -> None:
    played = Played(FaultKind.ROOM_COLD, "", hours=24)
    assert played.after("room")[-1] < played.before("room")[-1] - 5
    assert played.room.truth("A5").celsius == pytest.approx(25.0, abs=0.5)


def test_a_power_cut_takes_heat_and_air_from_every_tank_but_the_probes_speak_on() -> None:
    played = Played(FaultKind.POWER_CUT, "room")
    truths = [played.room.truth(tank) for tank in played.room.tanks]
    assert not any(truth.heater_on or truth.aerated for truth in truths)
    assert all(truth.celsius < truth.set_c - 0.5 for truth in truths)
    assert len(played.after()) >= 358


def test_after_a_power_cut_everything_runs_again() -> None:
    played = Played(FaultKind.POWER_CUT, "", hours=30, until_ms=FAULT_MS + 3 * HOUR_MS)
    for tank in played.room.tanks:
        truth = played.room.truth(tank)
        assert truth.aerated
        assert truth.celsius == pytest.approx(truth.set_c, abs=0.5)


def test_a_bad_water_change_cools_the_tank_by_degrees_in_ten_minutes() -> None:
    played = Played(FaultKind.BAD_WATER_CHANGE, hours=0.25)
    assert played.before()[-1] - played.after()[-1] == pytest.approx(0.45 * 8, abs=0.7)
    assert played.room.journal == []


def test_an_acid_overdose_throws_the_ph_down_within_minutes() -> None:
    played = Played(FaultKind.ACID_OVERDOSE, hours=0.25)
    assert played.room.truth("A3").ph < 4.6
    assert played.room.truth("A3").alkalinity < 0


def test_an_open_lid_costs_heat_and_water() -> None:
    open_, covered = Played(FaultKind.LID_OPEN, hours=24), Played(FaultKind.PROBE_STUCK, hours=24)
    assert open_.room.truth("A3").litres < covered.room.truth("A3").litres - 0.2
    assert minutes_heating(open_.room) > 1.5 * minutes_heating(covered.room)


@pytest.mark.parametrize("kelvin", [1.0, -1.0])
def test_a_moved_thermostat_holds_another_temperature(kelvin: float) -> None:
    played = Played(FaultKind.THERMOSTAT_MOVED, hours=30, strength=kelvin)
    assert mean(played.after()[-600:]) == pytest.approx(26.5 + kelvin, abs=0.3)


def test_a_wide_cycle_swings_further_about_the_same_mean() -> None:
    played = Played(FaultKind.CYCLE_WIDE, "A5", hours=36)
    swing = max(played.after("A5")) - min(played.after("A5"))
    assert swing > 2.5 * (max(played.before("A5")) - min(played.before("A5")))
    assert mean(played.after("A5")) == pytest.approx(25.0, abs=0.3)


def test_a_patchy_probe_loses_about_its_strength_of_readings() -> None:
    played = Played(FaultKind.PROBE_PATCHY, strength=0.7)
    assert len(played.after()) / 360 == pytest.approx(0.3, abs=0.07)


def test_swapped_probes_step_to_each_others_level_at_the_same_minute() -> None:
    played = Played(FaultKind.PROBE_SWAPPED, "A3", other="A4")
    assert mean(played.after("A4")) == pytest.approx(mean(played.before("A3")), abs=0.3)
    assert mean(played.after("A3")) == pytest.approx(mean(played.before("A4")), abs=0.3)


def test_a_swap_without_a_second_tank_takes_the_next_one_with_such_a_probe() -> None:
    room = boathouse(1, START_MS)
    room.inject(SimFault(FaultKind.PROBE_SWAPPED, "B6", FAULT_MS))
    room.inject(SimFault(FaultKind.PROBE_SWAPPED, "A1", FAULT_MS, quantity=Quantity.CONDUCTIVITY))
    assert [fault.other for fault in room.labels] == ["A1", "B1"]


def test_an_electrode_in_buffers_reads_seven_then_four_then_its_tank_again() -> None:
    played = Played(FaultKind.PROBE_BUFFER, hours=1)
    values = played.after(quantity=PH)
    assert values[4] == pytest.approx(7.0, abs=0.15)
    assert values[12] == pytest.approx(4.0, abs=0.15)
    assert values[30] == pytest.approx(played.before(quantity=PH)[-1], abs=0.15)


@pytest.mark.parametrize("code", [85.0, -127.0])
def test_a_sensor_error_is_its_number_and_nothing_else(code: float) -> None:
    assert set(Played(FaultKind.SENSOR_ERROR, strength=code).after()) == {code}


def test_hard_water_lifts_conductivity_and_ph() -> None:
    played = Played(FaultKind.HARD_WATER, "B1", hours=12)
    assert played.room.truth("B1").conductivity > 48 * 2
    assert played.room.truth("B1").ph > 7.0


def test_a_crash_eats_the_buffer_over_hours_and_takes_the_ph_below_five() -> None:
    played = Played(FaultKind.PH_CRASH, "B2", hours=30)
    values = played.after("B2", PH)
    assert values[60] > 6.3  # not within an hour
    assert values[-1] < 5.2


def test_a_legitimate_water_change_is_logged_unplugged_and_soon_forgotten() -> None:
    played = Played(FaultKind.WATER_CHANGE, hours=3)
    (entry,) = [e for e in played.room.journal if e.tank == "A3"]
    assert entry.deed is Deed.WATER_CHANGE
    assert entry.at_ms == FAULT_MS
    assert min(played.after()) < min(played.before()) - 0.1
    assert mean(played.after()[-60:]) == pytest.approx(mean(played.before()), abs=0.25)
    assert played.room.excursions == []


def test_a_calibration_is_logged_and_its_buffers_are_no_labelled_fault() -> None:
    room = boathouse(1, START_MS)
    room.plan_calibration(Calibrating(at_ms=FAULT_MS, tank="B2"))
    samples = list(room.run(FAULT_MS + HOUR_MS))
    said = [s.value for s in samples if s.tank == "B2" and s.quantity is PH]
    assert min(said) < 4.2
    assert room.labels == []
    (entry,) = [e for e in room.journal if e.deed is Deed.CALIBRATION]
    assert (entry.at_ms, entry.until_ms) == (FAULT_MS, FAULT_MS + 20 * MINUTE_MS)


def test_a_calibrated_electrode_agrees_with_the_water() -> None:
    room = boathouse(1, START_MS)
    room.inject(SimFault(FaultKind.PROBE_DRIFT, "B2", START_MS, FAULT_MS, strength=2.0))
    room.plan_calibration(Calibrating(at_ms=FAULT_MS, tank="B2"))
    samples = list(room.run(FAULT_MS + HOUR_MS))
    said = [s.value for s in samples if s.tank == "B2" and s.quantity is PH]
    assert mean(said[-20:]) == pytest.approx(room.truth("B2").ph, abs=0.04)


def test_exits_are_told_by_the_fault_that_caused_them() -> None:
    played = Played(FaultKind.HEATER_DEAD, hours=12)
    (fault,) = played.room.labels
    assert played.room.exits_of(fault) == played.room.excursions != []


def test_every_kind_can_be_played_and_mended() -> None:
    for kind in FaultKind:
        tank = "" if kind in OF_THE_ROOM else "B1"
        played = Played(kind, tank, hours=2, until_ms=FAULT_MS + HOUR_MS // 2)
        assert len([s for s in played.samples if s.at_ms > FAULT_MS + HOUR_MS]) == (
            pytest.approx(60 * 27, abs=30)
        )


def test_an_air_stop_lets_breath_gather_and_the_ph_sink_by_night() -> None:
    aired, still = boathouse(1, START_MS), boathouse(1, START_MS)
    still.inject(SimFault(FaultKind.AERATION_STOP, "B2", START_MS))
    for room in (aired, still):
        list(room.run(START_MS + 5 * HOUR_MS))
    assert not still.truth("B2").aerated
    assert still.truth("B2").ph < aired.truth("B2").ph - 0.05


@pytest.mark.parametrize(
    "kind", [FaultKind.HEATER_DEAD, FaultKind.PROBE_NOISY, FaultKind.ACID_OVERDOSE]
)
def test_a_fault_in_one_tank_changes_no_word_of_another(
    kind: FaultKind, quiet: list[Sample]
) -> None:
    others = [s for s in Played(kind).samples if s.tank != "A3"]
    assert others == [s for s in quiet if s.tank != "A3"]


@pytest.mark.parametrize(
    "fault",
    [
        SimFault(FaultKind.HEATER_DEAD, "Z9", FAULT_MS),
        SimFault(FaultKind.PROBE_STUCK, "A2", FAULT_MS, quantity=Quantity.OXYGEN),
    ],
)
def test_a_fault_of_what_is_not_there_is_refused(fault: SimFault) -> None:
    with pytest.raises(KeyError):
        boathouse(1, START_MS).inject(fault)


def test_a_fault_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(ValueError, match="ends before it begins"):
        SimFault(FaultKind.HEATER_DEAD, "A3", FAULT_MS, FAULT_MS)


def test_a_power_cut_of_one_tank_is_refused() -> None:
    with pytest.raises(ValueError, match="whole room"):
        SimFault(FaultKind.POWER_CUT, "A3", FAULT_MS)


def test_the_exit_told_beforehand_is_the_exit_that_comes() -> None:
    room = boathouse(1, START_MS)
    room.inject(SimFault(FaultKind.HEATER_DEAD, "A3", START_MS))
    list(room.run(START_MS + 10 * MINUTE_MS))
    told = room.exit_ms("A3", TEMPERATURE, within_ms=DAY_MS)
    list(room.run(START_MS + DAY_MS))
    (out,) = [e for e in room.excursions if e.tank == "A3"]
    assert told == out.from_ms


def test_a_healthy_tank_has_no_exit_to_tell() -> None:
    room = boathouse(1, START_MS)
    assert room.exit_ms("A5", TEMPERATURE, within_ms=DAY_MS) is None


@pytest.mark.parametrize(
    ("kind", "minute", "shows"),
    [
        (FaultKind.PROBE_CLOCK_BACK, 30, 30 - 5 * 60),
        (FaultKind.PROBE_CLOCK_AHEAD, 30, 30 + 60),
        (FaultKind.PROBE_CLOCK_FROZEN, 30, 0),
    ],
)
def test_a_wrong_clock_is_the_boards_and_leaves_the_numbers_alone(
    kind: FaultKind, minute: int, shows: int, quiet: list[Sample]
) -> None:
    played = Played(kind, until_ms=FAULT_MS + HOUR_MS)
    assert [s._replace(own_ms=None) for s in played.samples] == quiet
    wrong = [s for s in played.samples if s.own_ms is not None]
    assert {(s.tank, s.quantity) for s in wrong} == {
        (s.tank, s.quantity) for s in quiet if s.tank == "A3"
    }
    at_ms = FAULT_MS + minute * MINUTE_MS
    near = [s for s in wrong if abs(s.at_ms - at_ms) < MINUTE_MS]
    assert near
    assert all(abs(s.stamp_ms - FAULT_MS - shows * MINUTE_MS) < MINUTE_MS for s in near)
    assert all(s.at_ms <= FAULT_MS + HOUR_MS + MINUTE_MS for s in wrong)
