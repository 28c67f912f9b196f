"""Founding: a fold made from the settings and put back from what the store holds."""

import logging

from roewatch.alarms.book import AlarmBook
from roewatch.alarms.telling import Teller
from roewatch.judging.judge import Judge
from roewatch.room.tank import Room
from roewatch.service.brooding import Brooding
from roewatch.service.derived import Deriver
from roewatch.service.faults import Faults
from roewatch.service.fold import TELLER_KEY, Fold
from roewatch.service.settings.load import Setup
from roewatch.service.stages import Stages
from roewatch.storage.store import Store

log = logging.getLogger(__name__)


def fold_of(
    setup: Setup, store: Store, *, start_ms: int | None = None, faults: Faults | None = None
) -> Fold:
    """Judge, book and teller, put back from what the store holds.

    Alarms of tanks and probes that the settings no longer have end at the first tick. A state
    that cannot be read is said aloud, and that part starts fresh.
    """
    states = store.states()
    stages = Stages(setup.room_in, states)
    room = stages.room
    judge = Judge(room, setup.limits, start_ms=start_ms)
    for lost in judge.restore(states):
        log.error("state_lost key=%r why=%r", lost.key, lost.why)
    derived = Deriver(room, setup.facts, settle_ms=setup.limits.settle_ms)
    for key in derived.restore(states):
        log.error("state_lost key=%r why=%r", key, "cannot be read; this part starts fresh")
    book = AlarmBook(
        room,
        store.open_alarms(),
        next_number=store.next_alarm_number(),
        episodes=store.episodes(),
    )
    book.reconfigure(room)
    faults = faults or Faults()
    return Fold(
        judge,
        book,
        _teller(setup, room, states.get(TELLER_KEY)),
        faults=faults,
        stages=stages,
        derived=derived,
        broods=Brooding(store.brood_records(), setup.species, lambda: judge.room),
        again=lambda: fold_of(setup, store, faults=faults),
    )


def _teller(setup: Setup, room: Room, state: str | None) -> Teller:
    try:
        return Teller(room, setup.contacts, state=state, settings=setup.telling)
    except (ValueError, KeyError, TypeError) as unreadable:
        # whoever still has to be told is found again from the open alarms' next change
        log.error("state_lost key=%r why=%r", TELLER_KEY, str(unreadable))
        return Teller(room, setup.contacts, settings=setup.telling)
