"""Kept: what one transaction keeps, all of it or nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from itertools import chain
from typing import Any

from roewatch.alarms.alarm import Alarm, AlarmChange
from roewatch.alarms.notice import Notice, Receipt
from roewatch.breeding.plan import Plan
from roewatch.breeding.record import BroodRecord
from roewatch.room.journal import Amendment, JournalEntry
from roewatch.room.reading import Flagged


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """One transaction's content; whatever is left out stays as it is.

    readings: new ones; a repeat of (probe, at_ms) changes nothing, a different number at a moment
        already kept is counted as contradicted and dropped: the first one wins.
    revised: flags of readings already kept, put right afterwards; their numbers do not change.
    states: what judging and alarms remember, by key; an empty text forgets the key.
    alarms: by number, the newest form replaces the older. changes: alarm history, only added to.
    notices: to be handed over; one already known by its id is left alone.
    receipts: each with when to try that notice again, or None when it is finished.
    journal: an exact repeat of an entry changes nothing.
    amended: journal entries put right or taken back; each as it was before is kept as well.
    broods: records of broods; one already known by its id is left alone.
    plans: one that starts at the same moment for the same tank and quantity is replaced.
    """

    readings: Sequence[Flagged] = ()
    revised: Sequence[Flagged] = ()
    states: Mapping[str, str] = field(default_factory=dict)
    alarms: Sequence[Alarm] = ()
    changes: Sequence[AlarmChange] = ()
    notices: Sequence[Notice] = ()
    receipts: Sequence[tuple[Receipt, int | None]] = ()
    journal: Sequence[JournalEntry] = ()
    amended: Sequence[Amendment] = ()
    broods: Sequence[BroodRecord] = ()
    plans: Sequence[Plan] = ()


def together(parts: Iterable[Kept]) -> Kept:
    """One transaction of several steps, in their order; of a state or an alarm the last word."""
    steps = list(parts)
    joined: dict[str, Any] = {
        f.name: tuple(chain.from_iterable(getattr(step, f.name) for step in steps))
        for f in fields(Kept)
        if f.name not in {"states", "alarms"}
    }
    states = {key: body for step in steps for key, body in step.states.items()}
    alarms = {alarm.number: alarm for step in steps for alarm in step.alarms}
    return Kept(**joined, states=states, alarms=tuple(alarms.values()))
