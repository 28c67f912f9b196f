"""How open alarms are put together on their page: the gravest first, the like under one heading."""

from tests.views.room_of_glass import NOW, alarm

from roewatch.alarms.alarm import Alarm, State
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.views.alarm_page import Group, groups_of
from roewatch.views.standing import gravest_first


def raised(number: int, kind: Kind, priority: Priority = Priority.MEDIUM) -> Alarm:
    return alarm(
        number, f"T{number}", kind, quantity=Quantity.PH, priority=priority,
        since_ms=NOW - number * MINUTE_MS,
    )  # fmt: skip


def group(*alarms: Alarm) -> Group:
    (found,) = groups_of(gravest_first(alarms))
    return found


def numbers(clusters: object) -> list[list[int]]:
    return [[a.number for a in cluster.alarms] for cluster in clusters]  # type: ignore[attr-defined]


def test_three_of_a_kind_share_a_heading_and_two_do_not() -> None:
    noisy = [raised(n, Kind.PROBE_NOISY) for n in (1, 2, 3)]
    dry = [raised(n, Kind.PROBE_DRY) for n in (4, 5)]
    assert numbers(group(*noisy, *dry).clusters) == [[5], [4], [3, 2, 1]]


def test_the_same_kind_in_another_priority_stands_apart() -> None:
    low = [raised(n, Kind.PROBE_NOISY, Priority.LOW) for n in (1, 2, 3)]
    high = raised(4, Kind.PROBE_NOISY, Priority.HIGH)
    assert numbers(group(*low, high).clusters) == [[4], [3, 2, 1]]


def test_past_three_of_a_heading_the_rest_is_folded_and_named() -> None:
    (cluster,) = group(*(raised(n, Kind.PROBE_NOISY) for n in range(1, 6))).clusters
    assert [a.number for a in cluster.shown] == [5, 4, 3]
    assert [a.number for a in cluster.folded] == [2, 1]
    assert cluster.words == "pH data noisy: T5, T4, T3, T2, T1"


def test_what_may_wake_somebody_is_never_folded() -> None:
    kinds = (Kind.PROBE_DRY, Kind.PROBE_NOISY, Kind.PROBE_STUCK, Kind.PROBE_FAULT, Kind.PH_CRASH)
    grave = group(*(raised(n, kind, Priority.HIGH) for n, kind in enumerate(kinds, 1)))
    assert len(grave.first) == 5
    assert grave.rest == ()
    mild = group(*(raised(n, kind) for n, kind in enumerate(kinds, 1)))
    assert numbers(mild.first) == [[5], [4], [3]]
    assert numbers(mild.rest) == [[2], [1]]


def test_every_alarm_stands_somewhere_once() -> None:
    alarms = [
        raised(n, (Kind.PROBE_DRY, Kind.PROBE_NOISY, Kind.PH_CRASH)[n % 3]) for n in range(1, 25)
    ]
    found = group(*alarms)
    shown = [
        a for cluster in (*found.first, *found.rest) for a in (*cluster.shown, *cluster.folded)
    ]
    assert sorted(a.number for a in shown) == list(range(1, 25))
    assert found.alarms[0].state is State.UNACKNOWLEDGED
