"""What happened to the broods of one tank, as letters on its charts and lines in its list."""

from dataclasses import dataclass

from roewatch.breeding.brood import Brood
from roewatch.breeding.record import BroodAct
from roewatch.views.brood_words import record_words
from roewatch.views.pages import Desk
from roewatch.views.plot import EventMark

LETTERS = {
    BroodAct.SPAWNED: ("S", "spawned"),
    BroodAct.HATCHED: ("H", "hatched"),
    BroodAct.FED: ("F", "feeding"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BroodEvent:
    """One thing recorded of a brood while it was in the tank."""

    at_ms: int
    letter: str
    name: str
    words: str
    brood: str


def events_of(brood: Brood, from_ms: int, to_ms: int, tank: str = "") -> list[BroodEvent]:
    """What has a letter on charts, in order; only what happened in `tank`, if one is named."""
    return [
        BroodEvent(
            at_ms=record.at_ms,
            letter=LETTERS[record.act][0],
            name=LETTERS[record.act][1],
            words=f"{record_words(record)}, brood {brood.id}",
            brood=brood.id,
        )
        for record in brood.records
        if record.act in LETTERS and from_ms <= record.at_ms < to_ms
        if not tank
        or tank == record.tank
        or (not record.tank and tank in brood.tanks_at(record.at_ms))
    ]


def brood_events(desk: Desk, tank: str, from_ms: int, to_ms: int) -> list[BroodEvent]:
    """The events of all broods of one tank, in order."""
    found = [
        event for brood in desk.broods.broods() for event in events_of(brood, from_ms, to_ms, tank)
    ]
    return sorted(found, key=lambda event: event.at_ms)


def event_marks(events: list[BroodEvent]) -> tuple[EventMark, ...]:
    """The same for a chart's lower edge."""
    return tuple(EventMark(at_ms=e.at_ms, letter=e.letter, text=e.words) for e in events)
