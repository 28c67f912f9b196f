"""Silence: a probe, a tank, the whole room, told apart."""

from dataclasses import replace

from tests.judging.rooms import START, fold, kinds, minutes, probe, room, tank

from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading

NAMES = ("A1", "A2", "A3")


def three_tanks() -> Judge:
    probes = [probe(f"{name}-t", name) for name in NAMES]
    probes += [probe(f"{name}-ph", name, Quantity.PH) for name in NAMES]
    return Judge(room([tank(name) for name in NAMES], probes), start_ms=START)


def talk(*silent: str, first: int, last: int) -> list[Reading]:
    """Everybody but those named `silent`, every minute from `first` to before `last`."""
    readings = []
    for minute in range(first, last):
        for name in NAMES:
            for what, value in (("t", 26.0), ("ph", 6.2)):
                if f"{name}-{what}" not in silent and name not in silent:
                    of = f"{name}-{what}"
                    readings += minutes([value + minute % 2 / 16], first=minute, of=of)
    return readings


def test_one_probe_silent() -> None:
    findings = fold(three_tanks(), [*talk(first=0, last=30), *talk("A2-ph", first=30, last=60)])
    assert kinds(findings) == ["A2 probe-silent"]
    assert findings[0].probe == "A2-ph"
    assert 44 <= (findings[0].at_ms - START) // MINUTE_MS <= 46


def test_one_tank_silent_is_one_finding() -> None:
    findings = fold(three_tanks(), [*talk(first=0, last=30), *talk("A2", first=30, last=60)])
    assert kinds(findings) == ["A2 tank-silent"]
    assert findings[0].children == ("A2-t", "A2-ph")


def test_the_whole_room_silent_is_one_finding_that_ends() -> None:
    judge = three_tanks()
    findings = fold(judge, talk(first=0, last=30))
    findings += judge.advance(START + 90 * MINUTE_MS)
    findings += fold(judge, talk(first=90, last=100))
    findings += judge.advance(START + 100 * MINUTE_MS)
    assert [(f.tank, f.kind, f.present) for f in findings] == [
        ("room", "room-silent", True),
        ("room", "room-silent", False),
    ]
    assert findings[0].children == NAMES
    assert (findings[0].at_ms - START) // MINUTE_MS <= 34


def electrode_by_ten_minutes(lost: set[int]) -> list[str]:
    """What is found of an electrode that loses those of its eighty readings."""
    judge = Judge(room([tank()], [probe("A1-ph", "A1", Quantity.PH, 10 * MINUTE_MS)]))
    said = [
        Reading("A1-ph", START + n * 10 * MINUTE_MS, 6.2 + n % 3 / 100)
        for n in range(80)
        if n not in lost
    ]
    return kinds(fold(judge, said))


def test_a_probe_that_seldom_speaks_is_patchy_when_it_loses_half() -> None:
    lost = {n for n in range(40, 80) if n % 2 or n % 5 == 0}
    assert electrode_by_ten_minutes(lost) == ["A1 probe-patchy"]


def test_a_probe_that_seldom_speaks_and_was_silent_for_hours_is_not_patchy() -> None:
    assert electrode_by_ten_minutes(set(range(50, 68))) == ["A1 probe-silent"]


def test_a_downtime_of_the_daemon_is_nobodys_silence() -> None:
    judge = three_tanks()
    findings = fold(judge, talk(first=0, last=30))
    judge.resume(START + 600 * MINUTE_MS)
    findings += fold(judge, talk(first=600, last=620))
    assert kinds(findings) == []


def test_who_never_spoke_is_silent_too() -> None:
    findings = fold(three_tanks(), talk("A3-ph", first=0, last=30))
    assert kinds(findings) == ["A3 probe-silent"]


def test_a_probe_taken_away_leaves_no_condition_behind() -> None:
    judge = three_tanks()
    fold(judge, [*talk(first=0, last=30), *talk("A2-ph", first=30, last=60)])
    whole = judge.room
    without = replace(whole, probes=tuple(p for p in whole.probes if p.id != "A2-ph"))
    ended = judge.reconfigure(without)
    assert [(f.tank, f.kind, f.probe, f.present) for f in ended] == [
        ("A2", "probe-silent", "A2-ph", False)
    ]
    assert kinds(fold(judge, talk("A2-ph", first=60, last=90))) == []


def spoken(name: str, *, said_min: int, at_min: int) -> Reading:
    """What A2's thermometer says at `at_min`, stamped `said_min`."""
    return Reading(name, START + said_min * MINUTE_MS + 10_000, 26.0 + at_min % 2 / 16)


def with_wrong_clock(stamp: dict[int, int]) -> list[str]:
    """What is told when A2-t says another minute than it is, from minute 30 on."""
    readings = talk(first=0, last=30)
    for minute in range(30, 80):
        readings += talk("A2-t", first=minute, last=minute + 1)
        readings.append(spoken("A2-t", said_min=stamp.get(minute, minute), at_min=minute))
    judge = three_tanks()
    found = fold(judge, readings)
    again = three_tanks()
    half: list[Finding] = []
    states: dict[str, str] = {}
    for reading in readings[:300]:
        half += fold(again, [reading])
        states |= again.changed_states()
    after = three_tanks()
    assert after.restore(states) == []
    assert half + fold(after, readings[300:]) == found
    return [f"{f.tank} {f.kind} {f.probe} {f.present}" for f in found]


def test_a_clock_put_back_is_no_silence_but_a_wrong_clock() -> None:
    assert with_wrong_clock({minute: minute - 300 for minute in range(30, 60)}) == [
        "A2 probe-clock A2-t True",
        "A2 probe-clock A2-t False",
    ]


def test_a_clock_that_stands_still_is_a_wrong_clock() -> None:
    assert with_wrong_clock(dict.fromkeys(range(30, 80), 29)) == ["A2 probe-clock A2-t True"]


def test_a_clock_put_back_by_ten_minutes_is_right_again_before_it_matters() -> None:
    assert with_wrong_clock({minute: minute - 10 for minute in range(30, 80)}) == []


def told_ahead(
    *probes: str, from_min: int = 30, to_min: int = 60, restart: bool = False
) -> list[str]:
    """What is told when these probes' own times are an hour ahead, and so not believed."""
    judge = three_tanks()
    states: dict[str, str] = {}
    found: list[Finding] = []
    for reading in talk(first=0, last=100):
        minute = (reading.at_ms - START) // MINUTE_MS
        if reading.probe in probes and from_min <= minute < to_min:
            judge.note_ahead(reading.probe, reading.at_ms, 3_600_000)
        found += fold(judge, [reading])
        if restart:
            states |= judge.changed_states()
            if reading.probe == "A1-t" and minute % 17 == 0:
                judge = three_tanks()
                assert judge.restore(states) == []
    return [f"{f.tank} {f.kind} {f.probe} {f.present}" for f in found]


def test_a_clock_that_runs_ahead_is_wrong_until_it_shows_the_present_for_a_while() -> None:
    told = ["A2 probe-clock A2-t True", "A2 probe-clock A2-t False"]
    assert told_ahead("A2-t") == told
    assert told_ahead("A2-t", restart=True) == told


def test_a_clock_ahead_for_a_few_readings_is_a_stumble() -> None:
    assert told_ahead("A2-t", to_min=33) == []


def test_all_clocks_ahead_are_ours_behind() -> None:
    everybody = {reading.probe for reading in talk(first=0, last=1)}
    assert told_ahead(*everybody) == []
