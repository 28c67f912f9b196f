"""A probe's clock: its readings are of times gone by, or it tells of a time that is yet to come.

A reading of the past is kept as such and judged no more; an own time in the future is not believed,
and the reading is kept when it came. So a clock behind blinds a probe, and one ahead does not.
"""

from collections.abc import Mapping, Sequence

from roewatch.judging.finding import Finding
from roewatch.judging.limits import Limits
from roewatch.judging.standing import Seen, Standing
from roewatch.judging.witness import Witness
from roewatch.room.kind import Kind
from roewatch.room.moment import span_text


def judge_backward(
    tick_ms: int,
    standing: Standing,
    witnesses: Sequence[Witness],
    backward: Mapping[str, int],
    out: list[Finding],
) -> None:
    """A probe that speaks, of times gone by. backward: since when, by probe, for those that do."""
    for witness in witnesses:
        since_ms = backward.get(witness.id)
        if since_ms is not None:
            said = (
                f"{witness.late} readings came whose time is not after the one "
                f"{span_text(tick_ms - since_ms)} ago: its clock was put back or stands still"
            )
            _see(tick_ms, since_ms, witness, said, standing, out)
        elif not witness.ahead:
            _end(tick_ms, witness, "its clock goes on again", standing, out)


class Ahead:
    """The probes whose own time lies in the future."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.witnesses: dict[str, Witness] = {}

    def settle(self, witnesses: Sequence[Witness]) -> None:
        """Look at these from now on."""
        self.witnesses = {witness.id: witness for witness in witnesses if witness.ahead}

    def note(self, witness: Witness, at_ms: int, by_ms: int) -> None:
        """An own time came at `at_ms` that lies `by_ms` in the future."""
        witness.ahead += 1
        witness.ahead_at, witness.ahead_ms = max(witness.ahead_at, at_ms), by_ms
        witness.changed = True
        self.witnesses[witness.id] = witness

    def judge(
        self,
        tick_ms: int,
        heard: Sequence[Witness],
        standings: Mapping[str, Standing],
        out: list[Finding],
    ) -> None:
        """Tell of those that are wrong, and of those that are right again."""
        lately_ms = tick_ms - self.limits.silent_after_ms
        speaking = [w for w in heard if w.heard_ms > lately_ms]
        now = [w for w in self.witnesses.values() if w.ahead_at > lately_ms]
        if len(speaking) > 1 and len(now) >= self.limits.room_silent_share * len(speaking):
            return  # all of them ahead: it is our own clock that is behind
        for witness in [*self.witnesses.values()]:
            standing = standings[witness.probe.tank]
            if self._over(witness):
                witness.ahead = 0
                witness.changed = True
                del self.witnesses[witness.id]
                _end(tick_ms, witness, "its clock shows the present again", standing, out)
        for witness in now:
            if witness.ahead < self.limits.ahead_times:
                continue
            said = (
                f"its clock is {span_text(witness.ahead_ms)} ahead; its readings are taken as of "
                "when they came"
            )
            since_ms = min(witness.ahead_at, tick_ms)
            _see(tick_ms, since_ms, witness, said, standings[witness.probe.tank], out)

    def _over(self, witness: Witness) -> bool:
        """Whether it was heard for a good while with nothing of the future in it."""
        limits = self.limits
        calm_ms = max(limits.silent_after_ms, limits.silent_after_missed * witness.every_ms)
        return witness.heard_ms - witness.ahead_at >= calm_ms


def _see(
    tick_ms: int, since_ms: int, witness: Witness, said: str, standing: Standing, out: list[Finding]
) -> None:
    quantity, probe = witness.quantity, witness.id
    if standing.due(tick_ms, Kind.PROBE_CLOCK, quantity, probe):
        seen = Seen(
            kind=Kind.PROBE_CLOCK, quantity=quantity, probe=probe, since_ms=since_ms, message=said
        )
        standing.see(tick_ms, seen, out)


def _end(tick_ms: int, witness: Witness, said: str, standing: Standing, out: list[Finding]) -> None:
    quantity, probe = witness.quantity, witness.id
    if standing.holds(Kind.PROBE_CLOCK, quantity, probe):
        seen = Seen(
            kind=Kind.PROBE_CLOCK, quantity=quantity, probe=probe, since_ms=tick_ms, message=said
        )
        standing.end(tick_ms, seen, out)
