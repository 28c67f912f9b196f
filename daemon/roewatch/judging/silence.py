"""Silence: no reading where one was due, told apart by how much of the room is silent.

Ages run from the last reading to the tick, both event time. Silence ends only with a reading.
"""

from collections.abc import Sequence

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.probe_clock import judge_backward
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.moment import SECOND_MS, span_text
from roewatch.room.tank import ROOM

Group = tuple[Standing, Sequence[Witness]]


class Silence:
    """Who has not been heard. since_ms: nobody could have been heard before (start, downtime)."""

    def __init__(self, limits: Limits, since_ms: int) -> None:
        self.limits = limits
        self.since_ms = since_ms
        self.groups: Sequence[Group] = ()
        self.witnesses: list[Witness] = []
        self.room_limit_ms = 0
        self.look_ms = 0  # nobody can have become silent before
        self.alone_ms = 0  # no single probe can have become silent before
        self.anybody = True  # somebody was silent at the last look, or nobody has looked yet

    def settle(self, groups: Sequence[Group]) -> None:
        """Listen to these from now on."""
        self.groups = groups
        self.witnesses = [w for _, witnesses in groups for w in witnesses]
        quickest = min((w.every_ms for w in self.witnesses), default=0)
        self.room_limit_ms = max(self.limits.room_silent_after_ms, 3 * quickest)
        self.look_again()

    def look_again(self) -> None:
        """Something changed that the next look cannot know of."""
        self.look_ms = 0
        self.anybody = True

    def _heard(self, witness: Witness) -> int:
        return max(witness.heard_ms, self.since_ms)

    def _limit(self, witness: Witness) -> int:
        limits = self.limits
        return max(limits.silent_after_ms, limits.silent_after_missed * witness.every_ms)

    def all_heard(self, tick_ms: int) -> bool:
        """The quick look: true when nobody can be silent, and `look_ms` set to when that ends.

        It asks the probes one after the other until one was heard just now, for the room's sake;
        and seldom each of them, by a moment that may be older than when it was last heard.
        """
        if self.anybody:
            return False
        if tick_ms >= self.alone_ms:
            self.alone_ms = min(self._heard(w) + self._limit(w) for w in self.witnesses)
        lately_ms = tick_ms - self.room_limit_ms
        if tick_ms >= self.alone_ms:
            return False
        if self.since_ms > lately_ms:
            self.look_ms = min(self.since_ms + self.room_limit_ms, self.alone_ms)
            return True
        for witness in self.witnesses:
            heard_ms = witness.heard_by(tick_ms)
            if heard_ms > lately_ms:
                self.look_ms = min(heard_ms + self.room_limit_ms, self.alone_ms)
                return True
        return False

    def judge(self, tick_ms: int, room: Standing, out: list[Finding]) -> None:
        """Look at every probe; set `look_ms` to when the next look can matter."""
        if not self.witnesses:
            return
        if self._judge_room(tick_ms, room, out):
            self.look_ms = tick_ms
            self.anybody = True
            return
        self.anybody = False
        next_ms = tick_ms + self.limits.room_silent_after_ms
        for standing, witnesses in self.groups:
            silent = [w for w in witnesses if tick_ms - self._heard(w) >= self._limit(w)]
            self._judge_tank(tick_ms, standing, witnesses, silent, out)
            if silent:
                next_ms = tick_ms
                self.anybody = True
        newest_ms = max(self._heard(w) for w in self.witnesses)
        self.alone_ms = min(self._heard(w) + self._limit(w) for w in self.witnesses)
        self.look_ms = min(next_ms, newest_ms + self.room_limit_ms, self.alone_ms)

    def _judge_room(self, tick_ms: int, room: Standing, out: list[Finding]) -> bool:
        tanks = [group for group in self.groups if group[0].tank != ROOM and group[1]]
        if len(tanks) < 2:
            return False
        limits, standing = self.limits, room.holds(Kind.ROOM_SILENT)
        silent = []
        for keeping, witnesses in tanks:
            after = max(limits.room_silent_after_ms, 3 * min(w.every_ms for w in witnesses))
            if all(tick_ms - self._heard(w) >= after for w in witnesses):
                silent.append(keeping.tank)
        if len(silent) >= limits.room_silent_share * len(tanks):
            newest = max(self._heard(w) for _, witnesses in tanks for w in witnesses)
            room.see(
                tick_ms,
                Seen(
                    kind=Kind.ROOM_SILENT,
                    since_ms=newest,
                    message=f"nothing heard from {len(silent)} of {len(tanks)} tanks for "
                    f"{span_text(tick_ms - newest)}: the broker or the network, not the water",
                    children=tuple(silent),
                ),
                out,
            )
            return True
        if standing:
            said = f"{len(tanks) - len(silent)} of {len(tanks)} tanks are heard again"
            room.end(tick_ms, Seen(kind=Kind.ROOM_SILENT, since_ms=tick_ms, message=said), out)
        return False

    def _judge_tank(
        self,
        tick_ms: int,
        standing: Standing,
        witnesses: Sequence[Witness],
        silent: Sequence[Witness],
        out: list[Finding],
    ) -> None:
        missed = self.limits.silent_after_missed
        backward = {w.id: self._heard(w) for w in silent if w.late >= missed}
        judge_backward(tick_ms, standing, witnesses, backward, out)
        silent = [w for w in silent if w.id not in backward]
        whole = len(silent) == len(witnesses) > 1
        if whole:
            newest = max(self._heard(w) for w in silent)
            message = f"none of its {len(silent)} probes heard for {span_text(tick_ms - newest)}"
            seen = Seen(
                kind=Kind.TANK_SILENT,
                since_ms=newest,
                message=message,
                children=tuple(w.id for w in silent),
            )
            standing.see(tick_ms, seen, out)
        elif standing.holds(Kind.TANK_SILENT):
            over = Seen(kind=Kind.TANK_SILENT, since_ms=tick_ms, message="heard again")
            standing.end(tick_ms, over, out)
        for witness in witnesses:
            quantity, probe = witness.probe.quantity, witness.id
            if witness in silent and not whole:
                age_ms = tick_ms - self._heard(witness)
                seen = Seen(
                    kind=Kind.PROBE_SILENT,
                    quantity=quantity,
                    probe=probe,
                    since_ms=self._heard(witness),
                    message=f"not heard for {span_text(age_ms)}; it should speak every "
                    f"{span_text(max(witness.every_ms, SECOND_MS))}",
                )
                standing.see(tick_ms, seen, out)
            elif standing.holds(Kind.PROBE_SILENT, quantity, probe):
                said = "the whole tank is silent" if whole else "heard again"
                over = Seen(
                    kind=Kind.PROBE_SILENT,
                    quantity=quantity,
                    probe=probe,
                    since_ms=tick_ms,
                    message=said,
                )
                standing.end(tick_ms, over, out)
