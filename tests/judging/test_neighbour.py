"""A second probe of the same quantity in one tank, held against the first."""

from dataclasses import replace
from random import Random

from tests.judging.rooms import START, fold, kinds, probe, room, tank

from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.moment import FAR_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag, Reading
from roewatch.room.tank import Calibration, Room
from roewatch.room.window import Window

PH = Window(low=5.0, high=8.0)
TWO_ELECTRODES = room(
    [tank(celsius=None, ph=PH)],
    [probe("one", quantity=Quantity.PH), probe("two", quantity=Quantity.PH)],
)


def said(
    off: float, creeps_from_h: float = 1e9, per_h: float = 0.0, *, hours: int = 30, seed: int = 1
) -> list[Reading]:
    """Both electrodes once a minute: `two` is `off` above `one`, and creeps from an hour on."""
    random, readings = Random(seed), []
    for minute in range(hours * 60):
        at_ms = START + minute * MINUTE_MS
        crept = max(minute / 60 - creeps_from_h, 0.0) * per_h
        for name, more, second in (("one", 0.0, 10), ("two", off + crept, 20)):
            value = round(6.5 + more + random.gauss(0, 0.012), 2)
            readings.append(Reading(name, at_ms + second * 1000, value))
    return readings


def flags_of(judge: Judge, readings: list[Reading]) -> list[Flag]:
    return [judge.take(reading).flagged.flag for reading in readings]


def test_a_usual_difference_is_none() -> None:
    assert kinds(fold(Judge(TWO_ELECTRODES, start_ms=START), said(0.3))) == []


def test_an_electrode_that_leaves_the_other_is_told_with_who_has_moved() -> None:
    found = fold(Judge(TWO_ELECTRODES, start_ms=START), said(0.1, 20, 0.1))
    disagree = [f for f in found if f.kind == "probes-disagree"]
    assert {(f.probe, f.present) for f in disagree} == {("two", True)}
    told = disagree[0]
    # 0.2 pH beyond the usual are reached two hours after it began to creep, held half an hour
    assert 22 * HOUR_MS <= told.at_ms - START <= 23 * HOUR_MS
    assert "one has gone +0.0" in told.message or "one has gone -0.0" in told.message
    assert "two +0.1" in told.message


def test_both_are_suspect_meanwhile_and_the_tank_goes_on_being_judged() -> None:
    judge = Judge(TWO_ELECTRODES, start_ms=START)
    readings = said(0.1, 20, 0.1, hours=50)
    flags = [(reading.at_ms, judge.take(reading).flagged.flag) for reading in readings]
    late = [flag for at_ms, flag in flags if START + 24 * HOUR_MS < at_ms < START + 36 * HOUR_MS]
    assert set(late) == {Flag.SUSPECT}
    early = [flag for at_ms, flag in flags if START + HOUR_MS < at_ms < START + 20 * HOUR_MS]
    assert set(early) == {Flag.GOOD}
    far = fold(Judge(TWO_ELECTRODES, start_ms=START), said(0.0, 20, 0.2, hours=50))
    assert "A1 above-window" in kinds(far)


def test_strangers_far_apart_are_told_the_first_day() -> None:
    assert kinds(fold(Judge(TWO_ELECTRODES, start_ms=START), said(0.8, hours=3))) == [
        "A1 probes-disagree"
    ]


def test_they_agree_again_once_one_is_mended() -> None:
    readings = [*said(0.1, 20, 0.2, hours=26)]
    readings += [
        reading._replace(at_ms=reading.at_ms + 26 * HOUR_MS) for reading in said(0.1, hours=3)
    ]
    found = [f for f in fold(Judge(TWO_ELECTRODES, start_ms=START), readings)
             if f.kind == "probes-disagree"]  # fmt: skip
    assert [f.present for f in found][-1] is False
    assert found[-1].message == "one and two agree again"


def test_after_a_restart_and_in_any_order_between_probes_it_is_the_same() -> None:
    readings = said(0.1, 20, 0.1)
    whole = fold(Judge(TWO_ELECTRODES, start_ms=START), readings)
    states: dict[str, str] = {}
    found: list[Finding] = []
    judge = Judge(TWO_ELECTRODES, start_ms=START)
    for n, reading in enumerate(readings):
        if n % 700 == 699:
            states |= judge.changed_states()
            judge = Judge(TWO_ELECTRODES, start_ms=START)
            assert judge.restore(states) == []
        found += judge.take(reading).findings
    assert found == whole
    swapped = [reading for pair in zip(readings[1::2], readings[::2], strict=True)
               for reading in pair]  # fmt: skip
    again = Judge(TWO_ELECTRODES, start_ms=START)
    flags = sorted(again.take(reading).flagged for reading in swapped)
    once = Judge(TWO_ELECTRODES, start_ms=START)
    assert flags == sorted(once.take(reading).flagged for reading in readings)


def test_an_end_that_an_older_program_put_further_off_still_comes() -> None:
    readings = said(0.1, 20, 0.2, hours=26)
    readings += [r._replace(at_ms=r.at_ms + 26 * HOUR_MS) for r in said(0.1, hours=3)]
    flags = flags_of(Judge(TWO_ELECTRODES, start_ms=START), readings)
    agree = max(n for n, flag in enumerate(flags) if flag is Flag.SUSPECT)
    judge = Judge(TWO_ELECTRODES, start_ms=START)
    fold(judge, readings[: agree - 10])
    states = judge.changed_states()
    older = {key: text.replace(str(FAR_MS), str(1 << 62)) for key, text in states.items()}
    assert older != states
    after = Judge(TWO_ELECTRODES, start_ms=START)
    assert after.restore(older) == []
    assert flags_of(after, readings[agree - 10 :]) == flags[agree - 10 :]


def calibrated(whole: Room, at_ms: int) -> Room:
    one, two = whole.probes
    return replace(whole, probes=(one, replace(two, calibrations=(Calibration(at_ms=at_ms),))))


def test_a_calibration_lets_them_be_strangers_again() -> None:
    judge = Judge(TWO_ELECTRODES, start_ms=START)
    readings = said(0.1, 20, 0.1)
    for reading in readings:
        judge.take(reading)
    later = said(0.1, hours=1)[0]._replace(at_ms=START + 30 * HOUR_MS + 10_000)
    assert judge.take(later).flagged.flag is Flag.SUSPECT
    judge.reconfigure(calibrated(TWO_ELECTRODES, START))
    assert judge.take(later._replace(at_ms=later.at_ms + MINUTE_MS)).flagged.flag is Flag.GOOD
