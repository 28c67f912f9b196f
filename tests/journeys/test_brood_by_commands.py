"""A brood kept by commands alone, from pair to hatch; the whole month is in `tests/bench`."""

from pathlib import Path

from tests.journeys.brood_life import BroodLife, brood_life, conditions_and_spawns, from_eggs

from roewatch.room.moment import HOUR_MS, MINUTE_MS, at_ms_of_iso


def test_a_brood_kept_by_commands_from_the_pair_to_the_hatch(tmp_path: Path) -> None:
    with brood_life(tmp_path, step_ms=30 * MINUTE_MS) as life:
        conditions_and_spawns(life, days=1)
        spawned_ms = life.told.truth["spawned"]
        parents_stay(life)
        from_eggs(life, until_ms=spawned_ms + 34 * HOUR_MS, look_every_ms=6 * HOUR_MS)
        the_hatch_was_foretold(life)
        the_windows_followed_the_stage(life, spawned_ms)
        todos_came_in_order(life)


def parents_stay(life: BroodLife) -> None:
    """Two hours after the eggs their alarm stands, and ends when they are out."""
    assert standing(life) == ["parents-not-out"]
    life.does_todos()
    life.live(30 * MINUTE_MS)
    assert standing(life) == []


def standing(life: BroodLife) -> list[str]:
    parents = (a for a in life.alarms() if a["alarm"] == "parents-not-out")
    return [a["alarm"] for a in parents if a["state"] == "unacknowledged"]


def the_hatch_was_foretold(life: BroodLife) -> None:
    hatch_ms = life.told.truth["hatch"]
    looks = [look for look in life.told.looks if look.leg == "hatch"]
    assert len(looks) >= 4
    for look in looks:
        assert look.from_ms <= hatch_ms <= look.to_ms
    assert looks[-1].width_h < looks[0].width_h
    assert abs(looks[0].likely_ms - hatch_ms) < 2 * HOUR_MS
    (seen,) = life.sees("show", "A1")
    assert at_ms_of_iso(seen["hatched"]) == hatch_ms
    assert seen["stage"] == "larvae"


def the_windows_followed_the_stage(life: BroodLife, spawned_ms: int) -> None:
    """22 °C suits a neon that is conditioned (21-23) and is too cold for spawning (23-25)."""
    cold = [a for a in life.alarms() if a["alarm"] == "below-window"]
    assert len(cold) >= 1
    first_ms = min(at_ms_of_iso(a["time"]) for a in cold)
    assert spawned_ms - 24 * HOUR_MS <= first_ms < spawned_ms


def todos_came_in_order(life: BroodLife) -> None:
    asked = [key.partition("/")[0] for _, key in life.told.asked]
    order = [asked.index(task) for task in ("look-now", "parents-out", "white-eggs", "hatch")]
    assert order == sorted(order)
    done = [key for _, key in life.told.done]
    assert done.index("dark") < done.index("white-eggs/1") < done.index("hatch")
