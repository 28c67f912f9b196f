"""A to-do: one thing a brood asks of its keeper, with the time it is due and by when it is late."""

from dataclasses import dataclass
from enum import StrEnum


class Task(StrEnum):
    """What kind of thing; the text value is what keys and calendars write."""

    CULTURE = "culture"
    LOOK = "look-now"
    PARENTS_OUT = "parents-out"
    DARK = "dark"
    KEEP_DARK = "keep-dark"
    LIGHT = "light"
    WHITE_EGGS = "white-eggs"
    HATCH = "hatch"
    NO_FEED = "no-feed"
    FOOD_READY = "food-ready"
    SWIMMING = "free-swimming"
    FEED = "feed"
    COUNT = "count"
    MOVE_UP = "move-up"
    ADULTS_BACK = "adults-back"


_FLAGS = frozenset({Task.KEEP_DARK, Task.NO_FEED, Task.FEED})


@dataclass(frozen=True, slots=True, kw_only=True)
class Todo:
    """One thing to do.

    key: `brood/task[/detail]`, the same however the forecast moves, so that a tick and a phone's
    calendar find it again. from_ms: not before; due_ms: best by; to_ms: late from then on.
    caution: shown wherever the words are.
    """

    key: str
    task: Task
    brood: str
    tank: str
    words: str
    from_ms: int
    due_ms: int
    to_ms: int
    why: str = ""
    caution: str = ""

    @property
    def urgent(self) -> bool:
        """Whether an alarm of its own hangs on it."""
        return self.task is Task.PARENTS_OUT

    @property
    def flag(self) -> bool:
        """Whether it is a standing rule until to_ms (`do not feed`) and can never be late."""
        return self.task in _FLAGS

    def late_ms(self, now_ms: int) -> int:
        """How late it is at `now_ms`; 0 while it is not."""
        return 0 if self.flag else max(now_ms - self.to_ms, 0)

    def open_at(self, now_ms: int) -> bool:
        """Whether it can be done at `now_ms`, or is already late."""
        return now_ms >= self.from_ms


def in_order(todos: list[Todo]) -> list[Todo]:
    """Soonest due first; of two due together the urgent one, then by key. Rules by their begin."""
    return sorted(todos, key=lambda todo: (todo.due_ms, not todo.urgent, todo.key))
