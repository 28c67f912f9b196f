"""Stages: which stage each tank is in now, and the windows that follow from it.

The settings name a stage, and the journal may name a later one. The journal's word holds as long
as the settings still name what they named when it was entered; once the keeper edits the tank's
stage in the settings, that edit is the newer word, and the journal's is forgotten at the next
start or reload. So no file's date is ever compared, and a restart changes nothing by itself.
"""

import json
from collections.abc import Callable, Mapping
from operator import itemgetter
from typing import NamedTuple

from roewatch.room.journal import JournalEntry
from roewatch.room.stage import Stage
from roewatch.room.tank import Room

PREFIX = "stage/"


class _Entered(NamedTuple):
    """stage: the journal's word of `at_ms`. named: what the settings said at that time.

    before: the words it came after, the newest last, for the day it is withdrawn.
    """

    stage: Stage
    at_ms: int
    named: Stage
    before: tuple[tuple[Stage, int], ...] = ()


_MOST_BEFORE = 8


class Stages:
    """The journal's word over the settings'."""

    def __init__(
        self, room_in: Callable[[Mapping[str, Stage]], Room], states: Mapping[str, str]
    ) -> None:
        """room_in: the room with some tanks in other stages than the settings name.

        states: what was kept, by key; what cannot be read counts as never entered.
        """
        self._room_in = room_in
        self._named = {tank.id: tank.stage for tank in room_in({}).tanks}
        self._entered: dict[str, _Entered] = {}
        for key, text in states.items():
            tank = key.removeprefix(PREFIX)
            if key.startswith(PREFIX) and tank in self._named:
                entered = _read(text)
                if entered is not None and entered.named is self._named[tank]:
                    self._entered[tank] = entered

    @property
    def room(self) -> Room:
        """The room with every tank in the stage it is in."""
        return self._room_in({tank: entered.stage for tank, entered in self._entered.items()})

    def check(self, entry: JournalEntry) -> Stage:
        """The stage an entry names. Raises ValueError with what may stand there."""
        if entry.tank not in self._named:
            known = ", ".join(self._named)
            raise ValueError(f"no tank {entry.tank!r} has a stage; there are: {known}")
        try:
            return Stage(entry.detail.strip().lower())
        except ValueError:
            known = ", ".join(Stage)
            raise ValueError(f"no stage {entry.detail!r}; write one of: {known}") from None

    def enter(self, entry: JournalEntry) -> dict[str, str]:
        """Take the journal's word; returns the states to keep with it.

        An entry older than the last one is history: the tank stays in the stage it is in, and
        goes back to that one on the day the later words are withdrawn.
        """
        stage = self.check(entry)
        before = self._entered.get(entry.tank)
        words = [] if before is None else [*before.before, (before.stage, before.at_ms)]
        # of one moment the word that came last holds
        words = sorted([*words, (stage, entry.at_ms)], key=itemgetter(1))
        now, at_ms = words.pop()
        past = tuple(words[-_MOST_BEFORE:])
        entered = _Entered(now, at_ms, self._named[entry.tank], past)
        self._entered[entry.tank] = entered
        return {PREFIX + entry.tank: json.dumps(entered)}

    def withdraw(self, entry: JournalEntry) -> dict[str, str]:
        """Take a word of the journal's back; returns the states to keep with that.

        The tank is again in the stage it was in before; if that was never entered, in the one
        the settings name.
        """
        now = self._entered.get(entry.tank)
        if now is None:
            return {}
        gone = (self.check(entry), entry.at_ms)
        words = [w for w in (*now.before, (now.stage, now.at_ms)) if w != gone]
        if not words:
            del self._entered[entry.tank]
            return {PREFIX + entry.tank: ""}
        stage, at_ms = words.pop()
        entered = _Entered(stage, at_ms, now.named, tuple(words))
        self._entered[entry.tank] = entered
        return {PREFIX + entry.tank: json.dumps(entered)}


def _read(text: str) -> _Entered | None:
    try:
        stage, at_ms, named, *past = json.loads(text)
        before = tuple((Stage(word), int(then)) for word, then in (past[0] if past else ()))
        return _Entered(Stage(stage), int(at_ms), Stage(named), before)
    except (ValueError, TypeError):
        return None
