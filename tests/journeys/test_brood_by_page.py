"""A brood kept by forms of the page alone, from pair to hatch; the month is in `tests/bench`."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.journeys.brood_by_page import PAGE, PageLife
from tests.journeys.brood_life import conditions_and_spawns, from_eggs
from tests.journeys.test_brood_by_commands import (
    parents_stay,
    the_hatch_was_foretold,
    the_windows_followed_the_stage,
    todos_came_in_order,
)

from roewatch.room.moment import HOUR_MS, MINUTE_MS


@contextmanager
def page_life(folder: Path, *, step_ms: int = 10 * MINUTE_MS) -> Iterator[PageLife]:
    """A life that has not begun."""
    life = PageLife(folder, step_ms=step_ms)
    try:
        yield life
    finally:
        life.close()


def test_a_brood_kept_by_the_page_from_the_pair_to_the_hatch(tmp_path: Path) -> None:
    with page_life(tmp_path, step_ms=30 * MINUTE_MS) as life:
        conditions_and_spawns(life, days=1)
        spawned_ms = life.told.truth["spawned"]
        parents_stay(life)
        from_eggs(life, until_ms=spawned_ms + 34 * HOUR_MS, look_every_ms=6 * HOUR_MS)
        the_hatch_was_foretold(life)
        the_windows_followed_the_stage(life, spawned_ms)
        todos_came_in_order(life)
        the_report_tells_it(life)


def the_report_tells_it(life: PageLife) -> None:
    page = life.get(f"{PAGE}/report").text
    assert re.search(r"<td>= hatch, as told", page)
    assert "parents out" in page
    assert "Water by stage" in page
    assert "spawning" in page
