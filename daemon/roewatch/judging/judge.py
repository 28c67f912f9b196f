"""The judge: every reading of the room folded into flags and findings, by event time alone.

Readings go to their probe's witness at once. Everything else happens at ticks, once a minute of
event time, and reads only what readings at or before the tick have closed: so live, restart and
replay find the same, however the readings of different probes were interleaved.
"""

import json
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from roewatch.judging.alike import Alike
from roewatch.judging.finding import Finding
from roewatch.judging.keeping import Keeping
from roewatch.judging.limits import Limits
from roewatch.judging.probe_clock import Ahead
from roewatch.judging.silence import Silence
from roewatch.judging.standing import Key, Standing
from roewatch.judging.testimony import NOTHING, Judged
from roewatch.judging.together import Together
from roewatch.judging.witness import Witness
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM, Room

__all__ = ["Judge", "Judged", "Learned", "Lost"]

VERSION = 1
_ROOM_LOOK_MIN = 2  # of every five minutes: the buckets ended at 0 have all been closed by then


class Lost(NamedTuple):
    """A saved state that could not be taken over; that part of the judge starts fresh."""

    key: str
    why: str


class Learned(NamedTuple):
    """What is known of a tank's heating; None where it is not known yet. °C, °C/h, hours.

    switches_on, switches_off: where the thermostat switches. cools, warms: rates with the heater
    off and on. duty: share of the time it heats. cycles: how many were seen lately.
    room_c: the room's air; room_spread: how far it may be off, °C, where the tanks tell it, else 0.
    """

    tank: str
    cycles: int
    switches_on: float | None = None
    switches_off: float | None = None
    cools_per_h: float | None = None
    warms_per_h: float | None = None
    duty: float | None = None
    period_ms: int | None = None
    time_constant_h: float | None = None
    room_c: float | None = None
    room_spread: float = 0.0


class Judge:
    """One room's judging. start_ms: when listening began; without it, at the first reading.

    on_fault: told of a bug of ours in the judging of a tank, or `room`, that kept only that from
    being judged at this tick; without it, the bug is raised.
    """

    def __init__(
        self, room: Room, limits: Limits | None = None, *, start_ms: int | None = None
    ) -> None:
        self.limits = limits or Limits()
        self.on_fault: Callable[[str, Exception], None] | None = None
        self._owed = NOTHING  # found on the way to a reading that could not be judged
        self._witnesses: dict[str, Witness] = {}
        self._awaiting = bytearray()  # 1 at the place of each tank the next tick must look at
        self._keepings: dict[str, Keeping] = {}
        self._standing = Standing(ROOM, self.limits.retell_ms)
        self._together = Together(self._standing, self.limits)
        self._ahead = Ahead(self.limits)
        self._alike = Alike(self.limits)
        self._silence = Silence(self.limits, -1 if start_ms is None else start_ms)
        self._tick_ms = -1 if start_ms is None else start_ms // MINUTE_MS * MINUTE_MS
        self._wake_ms = 0
        self._room_changed = True
        self._settle(room)
        self._wake()

    def _wake(self) -> None:
        self._wake_ms = (
            self._tick_ms + MINUTE_MS + self.limits.settle_ms if self._tick_ms >= 0 else 0
        )

    def _settle(self, room: Room) -> None:
        self.room = room
        by_tank: dict[str, list[Witness]] = {tank.id: [] for tank in room.tanks}
        by_tank[ROOM] = []
        witnesses: dict[str, Witness] = {}
        for index, probe in enumerate(room.probes):
            known = self._witnesses.get(probe.id)
            if known is not None and (known.probe.tank, known.probe.quantity) == (
                probe.tank,
                probe.quantity,
            ):
                known.settle(probe)
                known.index = index
            else:
                known = Witness(probe, self.limits, index)
            witnesses[probe.id] = known
            by_tank[probe.tank].append(known)
        self._witnesses = witnesses
        keepings = {}
        tanks = {tank.id: tank for tank in room.tanks}
        for tank_id, found in by_tank.items():
            keeping = self._keepings.get(tank_id) or Keeping(tank_id, self.limits)
            if tank_id == ROOM:
                keeping.standing = self._standing
            keeping.settle(tanks.get(tank_id), found)
            if keeping.heat is not None:
                keeping.heat.air = self._together.air
            keepings[tank_id] = keeping
        self._keepings = keepings
        self._list = list(witnesses.values())
        self._air = next(
            (w for w in by_tank[ROOM] if w.probe.quantity is Quantity.TEMPERATURE), None
        )
        # what is derived falls silent with its inputs, and their silence says so
        self._silence.settle(
            [
                (k.standing, [w for w in k.witnesses if not w.probe.derived])
                for k in keepings.values()
            ]
        )
        self._awaiting = bytearray(len(keepings))
        for place, keeping in enumerate(keepings.values()):
            for witness in keeping.witnesses:
                witness.awaiting, witness.place = self._awaiting, place
        self._in_place = list(keepings.values())
        self._heats = [k.heat for k in keepings.values() if k.heat is not None]
        self._standings = {tank_id: keeping.standing for tank_id, keeping in keepings.items()}
        self._alike.settle([w for k in keepings.values() if (w := k.unheated) is not None])
        self._ahead.settle(self._list)
        self._look_at_all()

    def _look_at_all(self) -> None:
        """Have the next tick look at every probe: nobody knows which minutes are calm."""
        for witness in self._list:
            witness.due_ms = 0
        self._awaiting[:] = b"\1" * len(self._awaiting)

    # -- the fold --------------------------------------------------------------------------------

    def take(self, reading: Reading) -> Judged:
        """Judge one reading: its flag, and what ticks that came due on the way have found.

        A reading at or before its probe's last judged moment is late or a duplicate: it gets
        NOT_EVALUATED and changes nothing. Raises KeyError for a probe the room does not have.
        """
        findings = NOTHING
        if reading[1] >= self._wake_ms:
            findings = tuple(self.advance(reading[1]))
        try:
            return self._witnesses[reading[0]].take(reading, findings)
        except Exception:
            self._owed += findings
            if reading[0] in self._witnesses:
                raise
        known = ", ".join(self._witnesses) or "none"
        raise KeyError(f"no probe {reading[0]!r} in room {self.room.id}; there are: {known}")

    def advance(self, to_ms: int) -> list[Finding]:
        """Run the minute ticks up to `to_ms` less the settling time; what they found."""
        out = [*self._owed]
        self._owed = NOTHING
        if self._tick_ms < 0:
            self._tick_ms = to_ms // MINUTE_MS * MINUTE_MS
            if self._silence.since_ms < 0:
                self._silence.since_ms = self._tick_ms
        until_ms = to_ms - self.limits.settle_ms
        while self._tick_ms + MINUTE_MS <= until_ms:
            self._tick_ms += MINUTE_MS
            self._tick(self._tick_ms, out)
        self._wake()
        self._room_changed = True
        return out

    def _tick(self, tick_ms: int, out: list[Finding]) -> None:
        air, awaiting = self._air, self._awaiting
        aired = air is not None and self._guarded(air.fold, tick_ms) and air.due_ms <= tick_ms
        room_c = self._room_c(tick_ms)
        together = self._together.doubt
        jumping = []
        # all of a tank at once: in a room of thousands the next one's state is far in memory
        place = awaiting.find(1)
        while place >= 0:
            keeping = self._in_place[place]
            try:
                awake = keeping.fold(tick_ms) or (aired and keeping.id == ROOM)
                if awake:
                    keeping.judge(tick_ms, together=together, room_c=room_c, out=out)
                    if keeping.jumping:
                        jumping.append(keeping.pouring)
                if keeping.rest(tick_ms, judged=awake):
                    awaiting[place] = 0
            except Exception as bug:  # noqa: BLE001  # the tanks after it are to be judged
                self._tell(keeping.id, bug)
            place = awaiting.find(1, place + 1)
        if len(jumping) > 1:
            self._guarded(self._together.judge_swaps, jumping, out)
        if tick_ms // MINUTE_MS % 5 == _ROOM_LOOK_MIN:
            self._guarded(self._together.judge, tick_ms, self._heats, out)
            if room_c is not None or self._air is None:
                measured = None if self._air is None else room_c
                self._guarded(self._together.judge_air, tick_ms, measured, self._heats, out)
            self._guarded(self._judge_probes, tick_ms, out)
        self._guarded(self._judge_silence, tick_ms, out)

    def _guarded(self, do: Callable[..., Any], *of: Any) -> Any:
        """What a part of the room's judging answers; None where a bug kept it from it."""
        try:
            return do(*of)
        except Exception as bug:  # noqa: BLE001  # the rest of the room is to be judged
            self._tell(ROOM, bug)
            return None

    def _tell(self, of: str, bug: Exception) -> None:
        if self.on_fault is None:
            raise bug
        self.on_fault(of, bug)

    def _judge_silence(self, tick_ms: int, out: list[Finding]) -> None:
        if tick_ms >= self._silence.look_ms and not self._silence.all_heard(tick_ms):
            self._fold_all(tick_ms)
            self._silence.judge(tick_ms, self._standing, out)

    def _fold_all(self, tick_ms: int) -> None:
        """Take in the calm minutes that wait: what they say of all probes is about to be read."""
        for witness in self._list:
            witness.fold(tick_ms)

    def _judge_probes(self, tick_ms: int, out: list[Finding]) -> None:
        """What the probes of the room say of one another."""
        if self._alike.due(tick_ms):
            tanks = self._keepings.values()
            busy = {w.id for k in tanks if (w := k.unheated) and k.explained(tick_ms)}
            self._alike.judge(tick_ms, busy)
        if self._ahead.witnesses:
            self._fold_all(tick_ms)
            self._ahead.judge(tick_ms, self._list, self._standings, out)

    def note_ahead(self, probe: str, at_ms: int, by_ms: int) -> None:
        """What came from a probe at `at_ms` told of a time `by_ms` in the future, not believed.

        The next ticks say what that means. A probe that has been taken away since is passed over.
        """
        witness = self._witnesses.get(probe)
        if witness is not None:
            self._ahead.note(witness, at_ms, by_ms)

    def _room_c(self, tick_ms: int) -> float | None:
        """The room's air, °C: by its probe, or in a room without one by its tanks."""
        if self._air is None:
            return self._together.inferred.celsius
        return self._air.f if self._air.f_at >= tick_ms - 30 * MINUTE_MS else None

    def enter(self, entry: JournalEntry) -> list[Finding]:
        """What the keeper did: it explains what it explains. Raises KeyError for no such tank."""
        keeping = self._keepings.get(entry.tank)
        if keeping is None:
            raise KeyError(f"no tank {entry.tank!r} in room {self.room.id}")
        out: list[Finding] = []
        keeping.enter(entry, out)
        return out

    def withdraw(self, entry: JournalEntry) -> list[Finding]:
        """What the keeper did not do after all: it explains nothing. Raises KeyError as `enter`."""
        keeping = self._keepings.get(entry.tank)
        if keeping is None:
            raise KeyError(f"no tank {entry.tank!r} in room {self.room.id}")
        out: list[Finding] = []
        keeping.withdraw(entry, max(self._tick_ms, entry.at_ms), out)
        return out

    def resume(self, now_ms: int) -> None:
        """The daemon was down until now: nobody could be heard, so nobody counts as silent."""
        self._silence.since_ms = max(self._silence.since_ms, now_ms)
        self._silence.look_again()
        self._room_changed = True

    def reconfigure(self, room: Room) -> list[Finding]:
        """New settings: windows, stages, tanks, probes. What was learned stays where it fits.

        Conditions of tanks and probes that are gone end, since nobody can see them any more.
        """
        before = self._keepings
        at_ms = max(self._tick_ms, 0)
        self._settle(room)
        out: list[Finding] = []
        for tank_id, keeping in before.items():
            if tank_id not in self._keepings:
                keeping.standing.end_where(at_ms, lambda _: True, "the tank is gone", out)
        for keeping in self._keepings.values():
            keeping.standing.end_where(at_ms, self._unseen, "nobody watches it any more", out)
        return out

    def _unseen(self, key: Key) -> bool:
        """Whether a condition is of a probe the room no longer has."""
        return key[2] is not None and key[2] not in self._witnesses

    # -- what is known ---------------------------------------------------------------------------

    def positions(self) -> dict[str, int]:
        """The moment of the last judged reading, by probe; readings after it are still to judge."""
        return {w.id: w.last_at for w in self._list if w.last_at >= 0}

    def learned(self, tank: str) -> Learned:
        """What is known of the tank's heating. Raises KeyError for no such tank."""
        heat = self._keepings[tank].heat
        if heat is None or not heat.cycle.known:
            return Learned(tank, len(heat.cycle.falls) if heat else 0)
        cycle = heat.cycle
        return Learned(
            tank, len(cycle.falls), cycle.lower, cycle.upper, cycle.fall, cycle.rise,
            cycle.duty(), cycle.period_ms, cycle.time_constant_h(), heat.room_c, heat.room_spread,
        )  # fmt: skip

    # -- restart ---------------------------------------------------------------------------------

    def changed_states(self) -> dict[str, str]:
        """What changed since the last call, as JSON texts by key; kept together they restore."""
        states: dict[str, str] = {}
        for witness in self._list:
            if witness.changed:
                witness.changed = False
                states[f"judge/probe/{witness.id}"] = _text(witness.dump())
        for keeping in self._keepings.values():
            if keeping.changed or keeping.standing.changed:
                keeping.changed = keeping.standing.changed = False
                states[f"judge/tank/{keeping.id}"] = _text(keeping.dump())
        if self._room_changed:
            self._room_changed = False
            states["judge/room"] = _text(
                [self._tick_ms, self._silence.since_ms, self._together.dump(), self._alike.dump()]
            )
        return states

    def restore(self, states: Mapping[str, str]) -> list[Lost]:
        """Take over saved states; what could not be read, so that it can be said aloud."""
        lost: list[Lost] = []
        for key, text in states.items():
            if not key.startswith("judge/"):
                continue
            try:
                self._restore(key, text)
            except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
                lost.append(Lost(key, f"cannot be read ({error}); this part starts fresh"))
                self._fresh(key)
        self._wake()
        self._silence.look_again()
        self._ahead.settle(self._list)
        self._look_at_all()
        return lost

    def _restore(self, key: str, text: str) -> None:
        version, state = json.loads(text)
        if version != VERSION:
            raise ValueError(f"it is of version {version}, this program reads {VERSION}")
        _, what, *name = key.split("/", 2)
        if what == "probe" and name[0] in self._witnesses:
            self._witnesses[name[0]].load(state)
        elif what == "tank" and name[0] in self._keepings:
            self._keepings[name[0]].load(state)
        elif what == "room":
            self._tick_ms, self._silence.since_ms, together, *alike = state
            self._together.load(together)
            if alike:  # a program before this one compared nobody
                self._alike.load(alike[0])

    def _fresh(self, key: str) -> None:
        """Forget what a state left half loaded."""
        _, what, *name = key.split("/", 2)
        if what == "probe" and name and name[0] in self._witnesses:
            old = self._witnesses.pop(name[0])
            self._settle(self.room)
            del old
        elif what == "tank" and name and name[0] in self._keepings:
            self._keepings.pop(name[0])
            self._settle(self.room)


def _text(state: Any) -> str:
    return json.dumps([VERSION, state], separators=(",", ":"))
