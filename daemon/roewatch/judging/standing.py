"""A standing condition: what has been found and not yet ended, so that each is told once."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from roewatch.judging.finding import Finding, Forecast
from roewatch.room.kind import Kind
from roewatch.room.quantity import Quantity

Key = tuple[Kind, Quantity | None, str | None]


class Told(NamedTuple):
    """When a condition began, when it was last told of, and what was told."""

    since_ms: int
    told_ms: int
    value: float | None
    exit_ms: int | None
    children: tuple[str, ...]
    times: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A condition as evidence shows it at one moment, before it is known to be news.

    step: how far the value must move before a standing condition is worth telling again.
    """

    kind: Kind
    quantity: Quantity | None = None
    probe: str | None = None
    since_ms: int
    value: float | None = None
    message: str
    window: str = ""
    forecast: Forecast | None = None
    children: tuple[str, ...] = ()
    explained: bool = False
    step: float | None = None


@dataclass(slots=True)
class Standing:
    """The standing conditions of one tank, or of the room. retell_ms: see `Limits`."""

    tank: str
    retell_ms: int
    told: dict[Key, Told] = field(default_factory=dict)
    changed: bool = True

    def holds(self, kind: Kind, quantity: Quantity | None = None, probe: str | None = None) -> bool:
        """Whether the condition stands."""
        return (kind, quantity, probe) in self.told

    def any_of(self, *kinds: Kind) -> bool:
        """Whether any condition of these kinds stands."""
        return any(key[0] in kinds for key in self.told)

    def due(
        self,
        at_ms: int,
        kind: Kind,
        quantity: Quantity | None = None,
        probe: str | None = None,
    ) -> bool:
        """Whether seeing the condition now could tell anything: spares the wording of the rest."""
        before = self.told.get((kind, quantity, probe))
        return before is None or at_ms - before.told_ms >= self._wait_ms(before)

    def _wait_ms(self, before: Told) -> int:
        # each time it takes twice as long: what has been said three times is known
        return self.retell_ms << min(before.times - 1, 5)

    def see(self, at_ms: int, seen: Seen, out: list[Finding]) -> None:
        """Evidence that a condition holds: told if new, or moved far enough since last told."""
        key = (seen.kind, seen.quantity, seen.probe)
        before = self.told.get(key)
        if before is not None and not self._news(at_ms, seen, before):
            return
        since_ms = seen.since_ms if before is None else before.since_ms
        exit_ms = seen.forecast.likely_ms if seen.forecast else None
        times = 1 if before is None else before.times + 1
        self.told[key] = Told(since_ms, at_ms, seen.value, exit_ms, seen.children, times)
        self.changed = True
        out.append(self._finding(at_ms, seen, since_ms, present=True))

    def end(self, at_ms: int, seen: Seen, out: list[Finding]) -> None:
        """Evidence that a condition is over; nothing if it did not stand."""
        before = self.told.pop((seen.kind, seen.quantity, seen.probe), None)
        if before is None:
            return
        self.changed = True
        out.append(self._finding(at_ms, seen, before.since_ms, present=False))

    def end_where(
        self, at_ms: int, gone: Callable[[Key], bool], why: str, out: list[Finding]
    ) -> None:
        """End every condition whose key is `gone`: nobody can ever see it end."""
        for kind, quantity, probe in [key for key in self.told if gone(key)]:
            seen = Seen(kind=kind, quantity=quantity, probe=probe, since_ms=at_ms, message=why)
            self.end(at_ms, seen, out)

    def _news(self, at_ms: int, seen: Seen, before: Told) -> bool:
        if at_ms - before.told_ms < self._wait_ms(before):
            return False
        if set(seen.children) - set(before.children):
            return True
        if seen.step and None not in (now := seen.value, then := before.value):
            assert now is not None
            assert then is not None
            if abs(now - then) >= seen.step:
                return True
        exit_ms = seen.forecast.likely_ms if seen.forecast else None
        if exit_ms is None or before.exit_ms is None or exit_ms <= at_ms:
            return False
        left = max(before.exit_ms - before.told_ms, 1)
        return abs(exit_ms - before.exit_ms) > left / 2

    def _finding(self, at_ms: int, seen: Seen, since_ms: int, *, present: bool) -> Finding:
        return Finding(
            tank=self.tank,
            kind=seen.kind,
            quantity=seen.quantity,
            probe=seen.probe,
            at_ms=at_ms,
            since_ms=since_ms,
            present=present,
            value=seen.value,
            message=seen.message,
            window=seen.window,
            forecast=seen.forecast if present else None,
            children=seen.children,
            explained=seen.explained,
        )

    def dump(self) -> list[Any]:
        """The state as plain JSON values."""
        return [
            [*key, *told[:4], list(told.children), told.times] for key, told in self.told.items()
        ]

    def load(self, rows: list[Any]) -> None:
        """What `dump` gave. Raises ValueError or TypeError on anything else."""
        self.told = {
            (Kind(kind), Quantity(quantity) if quantity else None, probe): Told(
                since_ms, told_ms, value, exit_ms, tuple(children), times
            )
            for kind, quantity, probe, since_ms, told_ms, value, exit_ms, children, times in rows
        }
