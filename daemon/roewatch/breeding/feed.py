"""A calendar feed: the to-dos of all broods as events that keep their identity when they move.

What was last published is handed in and handed back as data. An event that changed keeps its uid
and gets the next sequence number; one that is no longer wanted is cancelled, because a subscribed
phone drops nothing it is not told to drop. RFC 5545, sections 3.8.4.7, 3.8.7.4 and 3.8.1.11.
"""

import json
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace

from roewatch.breeding.todo import Task, Todo
from roewatch.room.moment import DAY_MS, MINUTE_MS

STILL_MS = 15 * MINUTE_MS
"""A forecast that moved less leaves its event where it is, or phones would be told every hour."""

KEPT_MS = 30 * DAY_MS
"""An event stays in the feed so long after its end."""

_LEAST_MS = 30 * MINUTE_MS
_WINDOWS = frozenset({Task.HATCH, Task.SWIMMING, Task.NO_FEED, Task.FEED, Task.KEEP_DARK})


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event as published. sequence counts its revisions from 0; made_ms, changed_ms: when it
    was first published and last revised."""

    uid: str
    key: str
    task: str
    from_ms: int
    to_ms: int
    summary: str
    words: str
    sequence: int
    made_ms: int
    changed_ms: int
    cancelled: bool = False


def feed(
    todos: Iterable[Todo], published: Mapping[str, Event], *, room: str, now_ms: int
) -> dict[str, Event]:
    """Every event of the feed by its key, to be published and to be handed in next time.

    todos: all that are open, of every brood. room: its id, part of each uid.
    """
    found: dict[str, Event] = {}
    for todo in todos:
        wanted = _event(todo, room, now_ms)
        before = published.get(todo.key)
        found[todo.key] = wanted if before is None else _revised(before, wanted, now_ms)
    for key, before in published.items():
        if key in found or before.to_ms + KEPT_MS < now_ms:
            continue
        past = before.to_ms <= now_ms
        gone = before.cancelled or past
        found[key] = before if gone else _changed(before, replace(before, cancelled=True), now_ms)
    return dict(sorted(found.items(), key=lambda item: (item[1].from_ms, item[0])))


def written(events: Mapping[str, Event]) -> str:
    """The events as text; `read` gives them back."""
    return json.dumps([asdict(event) for event in events.values()], ensure_ascii=False)


def read(text: str) -> dict[str, Event]:
    """The events of `written`; none for no text."""
    return {said["key"]: Event(**said) for said in json.loads(text)} if text else {}


def _event(todo: Todo, room: str, now_ms: int) -> Event:
    where = f" ({todo.tank})" if todo.tank else ""
    spans = todo.task in _WINDOWS
    from_ms = _tidy(todo.from_ms if spans else todo.due_ms)
    short, _, _ = todo.words.partition(". ")
    head, _, _ = short.rstrip(".").partition(": ")
    return Event(
        uid=str(uuid.uuid5(uuid.NAMESPACE_URL, f"roewatch:{room}:{todo.key}")),
        key=todo.key,
        task=todo.task.value,
        from_ms=from_ms,
        to_ms=max(_tidy(todo.to_ms) if spans else 0, from_ms + _LEAST_MS),
        summary=f"{todo.brood}{where}: {head}",
        words="\n\n".join(part for part in (todo.words, todo.caution) if part),
        sequence=0,
        made_ms=now_ms,
        changed_ms=now_ms,
    )


def _tidy(at_ms: int) -> int:
    """To the five minutes before: no phone need show 08:28:27."""
    return at_ms - at_ms % (5 * MINUTE_MS)


def _revised(before: Event, wanted: Event, now_ms: int) -> Event:
    still = (
        abs(wanted.from_ms - before.from_ms) < STILL_MS
        and abs(wanted.to_ms - before.to_ms) < STILL_MS
    )
    if still:
        wanted = replace(wanted, from_ms=before.from_ms, to_ms=before.to_ms)
    same = (wanted.from_ms, wanted.to_ms, wanted.summary, wanted.words, wanted.cancelled)
    if same == (before.from_ms, before.to_ms, before.summary, before.words, before.cancelled):
        return before
    return _changed(before, wanted, now_ms)


def _changed(before: Event, wanted: Event, now_ms: int) -> Event:
    return replace(
        wanted,
        sequence=before.sequence + 1,
        made_ms=before.made_ms,
        changed_ms=max(now_ms, before.changed_ms),
    )
