"""To-dos from the hatch on: nothing to eat, food ready, first food, counts, moving up."""

from collections.abc import Iterator

from roewatch.breeding.caution import HANDS
from roewatch.breeding.count import Counted
from roewatch.breeding.development import CannotSay
from roewatch.breeding.forecast import Expected
from roewatch.breeding.livefood import RECIPES
from roewatch.breeding.record import BroodAct
from roewatch.breeding.scene import Scene
from roewatch.breeding.todo import Task, Todo
from roewatch.room.local_time import waking_before
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.species import Food

_LOOK = {
    Food.PROTOZOA: "a drop of the culture under the glass: alive and dense? If not, take the "
    "spare jar or squeeze a seasoned sponge",
    Food.ARTEMIA: "is a hatch running that is ready in time, of cysts known to hatch? If not, "
    "set a second one now",
    Food.MICROWORM: "do worms climb the wall of the culture? If not, take the spare",
    Food.DAPHNIA: "are there small ones to sift? If not, take another food",
}


_LONGEST_MS = 7 * DAY_MS
"""Longest from hatching to swimming that any sheet tells (harlequin, about a week)."""

_HARDEN = (
    "Move up: more volume, and harden the water step by step within the limits of fry; "
    "`roewatch water ramp` reckons the steps."
)
_STEPS = (
    ("1", 14, "First split: sort by size, more volume, larger food.", "common practice"),
    ("2", 30, _HARDEN, "assumed"),
)


def fry_tasks(scene: Scene) -> Iterator[Todo]:
    """All to-dos of `scene` that hang on the hatch and on free-swimming, whatever their time."""
    yield from _started(scene)
    brood, swimming = scene.brood, scene.swimming
    begun = (brood.spawned_ms, brood.hatched_ms, brood.swimming_ms)
    if begun == (None, None, None):
        return
    if swimming is None:
        yield from _unknown(scene)
        return
    yield from _no_feed(scene, swimming)
    yield from _food_ready(scene, swimming)
    if not swimming.happened:
        words = "Look for the first that swim; record it, count, and feed the same day."
        times = (swimming.from_ms, swimming.likely_ms, swimming.to_ms)
        yield scene.todo(Task.SWIMMING, words, times, why=swimming.why)
    yield from _feeding(scene, swimming)
    yield from _counts(scene, swimming)
    yield from _moving_up(scene, swimming)


def _started(scene: Scene) -> Iterator[Todo]:
    """Cultures not yet recorded as started, and not yet useless."""
    begun = {record.detail for record in scene.brood.records if record.act is BroodAct.CULTURE}
    for culture in scene.cultures:
        first = culture.key.endswith("-first") and (
            culture.food.value in begun or RECIPES[culture.food].named in begun
        )
        if culture.key in begun or first or culture.feed_until_ms <= scene.now_ms:
            continue
        # what was due before anybody spoke of the brood is late only from then on
        by_ms = max(waking_before(culture.start_by_ms, scene.zone), scene.brood.started_ms or 0)
        late_ms = by_ms
        if culture.key.endswith("-test"):  # while another lot can still be got
            late_ms = max(by_ms, culture.feed_until_ms - 2 * DAY_MS)
        words = culture.words
        if scene.brood.spawned_ms is None:
            words = f"{words} Reckoned as if they spawned next."
        elif by_ms < scene.now_ms < culture.feed_from_ms and culture.key == "protozoa-first":
            words = (
                f"{words} It will be late: line up a friend's jar or a seasoned sponge to squeeze."
            )
        yield scene.todo(
            Task.CULTURE,
            words,
            (min(culture.start_from_ms, by_ms), by_ms, late_ms),
            detail=culture.key,
            why=culture.source,
            caution=culture.caution,
        )


def _unknown(scene: Scene) -> Iterator[Todo]:
    """What is left to say where nothing tells when they swim: be ready, and look every day."""
    hatch, said = scene.hatch, scene.forecast.swimming
    why = said.why if isinstance(said, CannotSay) else ""
    start_ms = scene.brood.spawned_ms or scene.now_ms
    hatched_ms = hatch.likely_ms if hatch is not None else start_ms
    foods = " and ".join(RECIPES[s.what].named for s in scene.sheet.foods if s.from_d == 0)
    words = f"Have {foods or 'first food'} ready by the hatch: no forecast tells when they swim."
    times = (start_ms, hatched_ms, hatched_ms + DAY_MS)
    yield scene.todo(Task.FOOD_READY, words, times, detail="unknown", why=why)
    words = "Look every day for the first that swim; record it, count, and feed the same day."
    times = (hatched_ms, hatched_ms + DAY_MS, hatched_ms + _LONGEST_MS)
    yield scene.todo(Task.SWIMMING, words, times, why=why)


def _no_feed(scene: Scene, swimming: Expected) -> Iterator[Todo]:
    hatched = scene.hatch
    if hatched is None or swimming.happened:
        return
    words = "Do not feed: they live on their yolk. No light shock, no large water change."
    times = (hatched.from_ms, hatched.from_ms, swimming.from_ms)
    yield scene.todo(Task.NO_FEED, words, times, why="Yolk-sac larvae: common practice.")


def _food_ready(scene: Scene, swimming: Expected) -> Iterator[Todo]:
    """48 h and 24 h before they may swim; the first is dropped once the second is due."""
    first = [span.what for span in scene.sheet.foods if span.from_d == 0]
    if not first or swimming.happened:
        return
    looks = "; ".join(f"{RECIPES[food].named}: {_LOOK[food]}" for food in first)
    for ahead in (48, 24):
        due_ms = swimming.from_ms - ahead * HOUR_MS
        if ahead == 48 and due_ms + DAY_MS <= scene.now_ms:
            continue
        yield scene.todo(
            Task.FOOD_READY,
            f"First food ready? {looks[0].upper()}{looks[1:]}.",
            (due_ms - 6 * HOUR_MS, due_ms, due_ms + 12 * HOUR_MS),
            detail=f"{ahead}h",
            why=f"{ahead} h before the first may swim; a missed first day costs the brood "
            "(common practice).",
        )


def _feeding(scene: Scene, swimming: Expected) -> Iterator[Todo]:
    for span in scene.sheet.foods:
        from_ms = swimming.from_ms + round(span.from_d * DAY_MS)
        until_ms = swimming.to_ms + round(span.to_d * DAY_MS)
        if until_ms <= scene.now_ms:
            continue
        words = f"Feed {RECIPES[span.what].named}, 2-4 times a day, a little at a time."
        yield scene.todo(
            Task.FEED,
            words,
            (from_ms, from_ms, until_ms),
            detail=span.what.value,
            why=f"{span.source} ({span.basis}).",
        )


def _counts(scene: Scene, swimming: Expected) -> Iterator[Todo]:
    """Survival is told by day 14 and day 30 after hatching."""
    hatched_ms = scene.brood.hatched_ms
    start_ms = hatched_ms if hatched_ms is not None else swimming.likely_ms
    for day, kind in ((14, Counted.DAY_14), (30, Counted.DAY_30)):
        if kind in scene.brood.counts:
            continue
        due_ms = waking_before(start_ms + day * DAY_MS, scene.zone)
        yield scene.todo(
            Task.COUNT,
            f"Count the young of day {day}.",
            (due_ms - DAY_MS, due_ms, due_ms + 3 * DAY_MS),
            detail=f"{kind}",
            why="Survival is alive at day n of those hatched: common practice.",
        )


def _moving_up(scene: Scene, swimming: Expected) -> Iterator[Todo]:
    for step, days, words, why in _STEPS:
        due_ms = waking_before(swimming.likely_ms + days * DAY_MS, scene.zone)
        yield scene.todo(
            Task.MOVE_UP,
            words,
            (due_ms - DAY_MS, due_ms, due_ms + 7 * DAY_MS),
            detail=step,
            why=f"Day {days} of free-swimming ({why}).",
            caution=HANDS,
        )
