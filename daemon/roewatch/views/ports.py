"""What the pages ask of the rest: records to read, the running daemon to see, deeds to do."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from roewatch.alarms.alarm import Alarm, AlarmChange
from roewatch.alarms.notice import Notice, Receipt
from roewatch.breeding.plan import Plan
from roewatch.judging.judge import Learned
from roewatch.room.journal import Amended, Amendment, JournalEntry
from roewatch.room.reading import Flagged
from roewatch.room.series import Series
from roewatch.room.tank import Probe, Room


class Records(Protocol):
    """What is kept, over a connection that only reads. Called from several threads."""

    def latest(self) -> Mapping[str, Flagged]:
        """The newest reading of every probe that has one, by probe id."""

    def series(self, probe: Probe, from_ms: int, to_ms: int, columns: int = 0) -> Series:
        """Readings with from_ms <= at_ms < to_ms; thinned to 4 a column unless columns is 0."""

    def alarms(
        self,
        *,
        open_only: bool = False,
        tank: str | None = None,
        from_ms: int | None = None,
        to_ms: int | None = None,
        limit: int = 500,
    ) -> list[Alarm]:
        """Alarms, the newest first."""

    def alarm(self, number: int) -> Alarm | None:
        """One alarm as it stands now."""

    def changes(self, number: int) -> list[AlarmChange]:
        """The life of one alarm, in order."""

    def journal(self, tank: str | None, from_ms: int, to_ms: int) -> list[JournalEntry]:
        """Entries of one tank, or of all, in order."""

    def numbered_journal(
        self, tank: str | None, from_ms: int, to_ms: int
    ) -> list[tuple[int, JournalEntry]]:
        """The same, each with its number."""

    def entry(self, number: int) -> JournalEntry | None:
        """The entry of that number."""

    def amended(self, tank: str | None, from_ms: int, to_ms: int) -> list[Amended]:
        """Entries as they were before they were put right or withdrawn, the oldest word first."""

    def plans(self, tank: str) -> list[Plan]:
        """Every plan of a tank."""

    def told(self, number: int) -> list[tuple[Notice, Receipt | None]]:
        """What was sent about one alarm, each with its last receipt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkView:
    """How the link to the broker stands: `live`, `catching up`, `waiting` or `cut off`."""

    word: str
    since_ms: int
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedView:
    """Messages on one topic that could not be read, with one of them as it came."""

    topic: str
    count: int
    example: str
    why: str


class Live(Protocol):
    """The running daemon, as a page sees it."""

    def room(self) -> Room: ...

    def now_ms(self) -> int: ...

    def link(self) -> LinkView: ...

    def refused(self) -> Sequence[RefusedView]: ...

    def learned(self, tank: str) -> Learned | None:
        """What the judge knows of a tank's heating; None for a tank it does not judge."""

    def wait_change(self, last: int, timeout_s: float) -> int:
        """Wait until the change counter differs from `last`, or so long; returns the counter."""


class Deeds(Protocol):
    """What a person may do on a page. Every refusal is a ValueError with text for that person."""

    def acknowledge(self, number: int, by: str) -> None: ...

    def shelve(self, number: int, until_ms: int, why: str, by: str) -> None: ...

    def unshelve(self, number: int, by: str) -> None: ...

    def out_of_service(self, number: int, why: str, by: str) -> None: ...

    def return_to_service(self, number: int, by: str) -> None: ...

    def reset(self, number: int, by: str) -> None:
        """Somebody has looked at what a latched alarm is about; it is over."""

    def enter(self, entry: JournalEntry) -> None: ...

    def amend(self, amendment: Amendment) -> None: ...

    def plan(self, plans: Sequence[Plan], entry: JournalEntry) -> None:
        """Follow these plans from now on, and record that."""

    def give_up(self, plans: Sequence[Plan], entry: JournalEntry) -> None:
        """Forget these plans, and record that."""


class Web(Protocol):
    """The settings of the pages: where they listen, and the address people reach them at."""

    @property
    def host(self) -> str: ...

    @property
    def port(self) -> int: ...

    @property
    def base(self) -> str: ...
