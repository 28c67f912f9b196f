"""To-dos from the pair to the hatch: look at dawn, parents out, darkness, white eggs, wrigglers."""

from collections.abc import Iterator

from roewatch.breeding.brood import Brood
from roewatch.breeding.caution import HANDS
from roewatch.breeding.light import brood_light
from roewatch.breeding.scene import Scene
from roewatch.breeding.todo import Task, Todo
from roewatch.room.measured import warmer
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.species import Care, Daytime, Spawning
from roewatch.room.stage import Stage

SPAWN_HOURS = 3
"""Hours after lights-on in which spawning falls. Source: laboratory protocol for zebrafish, 2-3 h;
taken for the others (assumed)."""

_ADULTS_H = (24, 96)
"""Adults are best back after a day and late after four (assumed)."""


def egg_tasks(scene: Scene) -> Iterator[Todo]:
    """All to-dos of `scene` up to the hatch, whatever their time."""
    yield from _looks(scene)
    if scene.brood.spawned_ms is None:
        return
    yield from _parents(scene, scene.brood.spawned_ms)
    yield from _darkness(scene, scene.brood.spawned_ms)
    yield from _white_eggs(scene, scene.brood.spawned_ms)
    yield from _hatching(scene)


def _looks(scene: Scene) -> Iterator[Todo]:
    """The next look for eggs after lights-on, lights-off, or both."""
    brood = scene.brood
    if brood.spawned_ms is not None or brood.stage not in {None, Stage.SPAWNING}:
        return
    hours = brood_light(brood)
    if hours is None:
        if brood.plan.get("light", "").strip():
            words = f"Put the light hours right: {brood.plan['light']!r} are none; 07:00-21:00 are."
            begun_ms = brood.started_ms if brood.started_ms is not None else scene.now_ms
            times = (begun_ms, begun_ms, begun_ms + DAY_MS)
            yield scene.todo(Task.LOOK, words, times, detail="light")
        return
    spawning = scene.sheet.spawning
    when = spawning.when if spawning else (Daytime.ANY,)
    why = spawning.source if spawning else ""
    since = scene.now_ms - DAY_MS
    if set(when) & {Daytime.DAWN, Daytime.ANY, Daytime.NIGHT}:
        words = "Look now: eggs? They spawn in the first hours of light"
        if when == (Daytime.NIGHT,):
            words = "Look now, by dim light: eggs? They spawn in the dark of the night"
        for day, dawn_ms in hours.dawns(since, 3, scene.zone):
            end_ms = dawn_ms + SPAWN_HOURS * HOUR_MS
            if end_ms > scene.now_ms:
                times = (dawn_ms, dawn_ms + HOUR_MS, end_ms)
                yield scene.todo(Task.LOOK, f"{words}.", times, detail=f"{day}", why=why)
                break
    if set(when) & {Daytime.DUSK, Daytime.ANY}:
        for day, dusk_ms in hours.dusks(since, 3, scene.zone):
            if dusk_ms + HOUR_MS > scene.now_ms:
                times = (dusk_ms - HOUR_MS, dusk_ms, dusk_ms + HOUR_MS)
                words = "Look now: eggs? They may spawn as the light goes."
                yield scene.todo(Task.LOOK, words, times, detail=f"{day}-dusk", why=why)
                break


def _parents(scene: Scene, spawned_ms: int) -> Iterator[Todo]:
    brood, spawning = scene.brood, scene.sheet.spawning
    care = spawning.care if spawning else Care.NONE
    at_once = (spawned_ms, spawned_ms, spawned_ms + HOUR_MS)
    why = _care_why(spawning)
    if care is Care.NONE and brood.parents_out_ms is None:
        words = "Take the parents out: they eat the eggs within hours."
        yield scene.todo(Task.PARENTS_OUT, words, at_once, why=why, caution=HANDS)
    if care is Care.MALE:
        if brood.female_out_ms is None:
            words = "Take the female out: the male guards the nest and drives her."
            yield scene.todo(
                Task.PARENTS_OUT,
                words,
                at_once,
                detail="female",
                why=why,
                caution=HANDS,
            )
        if brood.male_out_ms is None and scene.swimming is not None:
            swims = scene.swimming
            words = "Take the male out now that the young swim: he may eat them."
            yield scene.todo(
                Task.PARENTS_OUT,
                words,
                (swims.from_ms, swims.likely_ms, swims.to_ms + DAY_MS // 2),
                detail="male",
                why=why,
                caution=HANDS,
            )
    yield from _adults_back(scene, brood)


def _care_why(spawning: Spawning | None) -> str:
    return f"Care: {spawning.source}." if spawning else ""


def _adults_back(scene: Scene, brood: Brood) -> Iterator[Todo]:
    outs = [at_ms for at_ms in (brood.female_out_ms, brood.male_out_ms) if at_ms is not None]
    if not outs:
        return
    best, late = (min(outs) + hours * HOUR_MS for hours in _ADULTS_H)
    yield scene.todo(
        Task.ADULTS_BACK,
        "Ease the adults back to the holding water: temperature and water step by step within "
        "their limits, never all at once. `roewatch water ramp` reckons the steps.",
        (min(outs), best, late),
        why=f"Up at most {warmer(2, 'g')} and down at most {warmer(1, 'g')} a day: Maintenance of "
        "water quality for healthy fish, teaching text, n.y.; the days are assumed.",
        caution=HANDS,
    )


def _darkness(scene: Scene, spawned_ms: int) -> Iterator[Todo]:
    """Cover, keep covered with a timer, and uncover. A precaution: no experiment was found."""
    brood = scene.brood
    if not scene.sheet.light_shy_eggs or brood.swimming_ms is not None:
        return
    why = "Keeper pages ask for darkness; no experiment was found, so it is a precaution."
    if not brood.dark:
        words = "Cover the tank: these eggs are kept dark. Shine no light on them to check."
        times = (spawned_ms, spawned_ms, spawned_ms + HOUR_MS)
        yield scene.todo(Task.DARK, words, times, why=why)
        return
    if not brood.is_dark or scene.swimming is None:
        return
    since_ms = brood.dark[-1].from_ms
    until = scene.swimming
    keep = (since_ms, since_ms, until.from_ms)
    words = "Keep dark until they swim: no lamp, no torch."
    yield scene.todo(Task.KEEP_DARK, words, keep, why=why)
    words = "Uncover little by little: the young need to see their food."
    times = (until.from_ms, until.likely_ms, until.to_ms)
    yield scene.todo(Task.LIGHT, words, times, why=why)


def _white_eggs(scene: Scene, spawned_ms: int) -> Iterator[Todo]:
    """Every day of the eggs' time; one that was passed over is followed by the next day's."""
    if scene.hatch is None or scene.brood.hatched_ms is not None:
        return
    last = max(int((scene.hatch.to_ms - spawned_ms) // DAY_MS), 1)
    for day in range(1, last + 1):
        due_ms = spawned_ms + day * DAY_MS
        if due_ms + DAY_MS <= scene.now_ms and day < last:
            continue
        words = "Take white eggs out, by dim light, and record how many."
        if day == 1:
            words += " Those clear now are fertilised: count them."
        yield scene.todo(
            Task.WHITE_EGGS,
            words,
            (due_ms - 4 * HOUR_MS, due_ms, due_ms + 8 * HOUR_MS),
            detail=f"{day}",
            why="Daily against fungus: Breeding non-annuals, 2018; fertilised are those alive at "
            "24 h: common practice.",
            caution=HANDS,
        )


def _hatching(scene: Scene) -> Iterator[Todo]:
    hatch = scene.hatch
    if hatch is None or hatch.happened:
        return
    words = "Look for wrigglers; record the hatch and count."
    if hatch.overdue(scene.now_ms):
        words = (
            "They should have hatched. Look: wrigglers not recorded, or eggs that turned white? "
            "Record what you find."
        )
    times = (hatch.from_ms, hatch.likely_ms, hatch.to_ms)
    yield scene.todo(Task.HATCH, words, times, why=hatch.why)
