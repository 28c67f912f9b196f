"""Errands: what a command may ask of the running daemon, each handed to the watch loop."""

from collections.abc import Callable, Mapping
from typing import Any

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import iso
from roewatch.service.clock import Clock
from roewatch.service.control import Control, Errand
from roewatch.service.settings.load import Setup
from roewatch.service.watch import Watch

Asked = Mapping[str, Any]


RECEIPTS_S = 30.0


def control_of(
    setup: Setup,
    watch: Watch,
    clock: Clock,
    reload: Callable[[], bool],
    *,
    more: Mapping[str, Errand],
) -> Control:
    """The way in for one daemon: enter it once the store is open, leave it before it is closed.

    reload: reads the settings again; returns whether they were taken over. more: other errands.
    """
    return Control(setup.storage.path, {**errands_of(watch, clock, reload), **more})


def errands_of(watch: Watch, clock: Clock, reload: Callable[[], bool]) -> dict[str, Errand]:
    """Every errand by name. Each refuses what is missing or of the wrong kind with ValueError."""

    def enter(asked: Asked) -> None:
        watch.enter(_entry(asked, clock.now_ms()))

    def test(_asked: Asked) -> list[dict[str, str]]:
        return [{"contact": n.contact, "way": n.way} for n in watch.test_notices()]

    def status(_asked: Asked) -> dict[str, Any]:
        return _status(watch, clock)

    def path(_asked: Asked) -> list[dict[str, str]]:
        return _tested(watch)

    def again(_asked: Asked) -> None:
        if not reload():
            raise ValueError("the settings have faults; `roewatch check` names them")

    return {
        **_alarm_errands(watch),
        "status": status,
        "enter": enter,
        "test": test,
        "test-path": path,
        "reload": again,
    }


def _alarm_errands(watch: Watch) -> dict[str, Errand]:
    def acknowledge(asked: Asked) -> None:
        number, by = _number(asked, "number"), _text(asked, "by")
        watch.change_alarm(lambda book, at_ms: book.acknowledge(number, by, at_ms))

    def shelve(asked: Asked) -> None:
        number, for_ms = _number(asked, "number"), _number(asked, "for_ms")
        why, by = _text(asked, "why"), _text(asked, "by")
        watch.change_alarm(lambda book, at_ms: book.shelve(number, at_ms + for_ms, why, by, at_ms))

    def unshelve(asked: Asked) -> None:
        number, by = _number(asked, "number"), _text(asked, "by")
        watch.change_alarm(lambda book, at_ms: book.unshelve(number, by, at_ms))

    def out_of_service(asked: Asked) -> None:
        number, why, by = _number(asked, "number"), _text(asked, "why"), _text(asked, "by")
        watch.change_alarm(lambda book, at_ms: book.out_of_service(number, why, by, at_ms))

    def return_to_service(asked: Asked) -> None:
        number, by = _number(asked, "number"), _text(asked, "by")
        watch.change_alarm(lambda book, at_ms: book.return_to_service(number, by, at_ms))

    def reset(asked: Asked) -> None:
        number, by = _number(asked, "number"), _text(asked, "by")
        watch.change_alarm(lambda book, at_ms: book.reset(number, by, at_ms))

    return {
        "acknowledge": acknowledge,
        "shelve": shelve,
        "unshelve": unshelve,
        "out-of-service": out_of_service,
        "return": return_to_service,
        "reset": reset,
    }


def _tested(watch: Watch) -> list[dict[str, str]]:
    """A synthetic reading the whole way: what became of each notice it caused."""
    test = watch.test_path()
    receipts = test.wait_receipts(RECEIPTS_S)
    return [
        {
            "contact": notice.contact,
            "way": notice.way,
            "outcome": receipt.outcome.value if receipt else "no answer yet",
            "reason": receipt.reason if receipt else "",
        }
        for notice in test.notices
        for receipt in (receipts.get(notice.id),)
    ]


def _status(watch: Watch, clock: Clock) -> dict[str, Any]:
    link, counts = watch.link, watch.counts
    return {
        "time": iso(clock.now_ms()),
        "connected": link.connected,
        "since": iso(link.since_ms),
        "why": link.why,
        "catching_up": watch.catching_up,
        "messages": counts.messages,
        "readings": counts.readings,
        "kept": counts.kept,
        "refused": counts.refused,
        "alarms_changed": counts.alarms_changed,
        "notices": counts.notices,
        "receipts": counts.receipts,
        "refusals": [
            {"topic": e.topic, "count": e.count, "example": e.example, "why": e.why}
            for e in watch.refusals.topics()
        ],
    }


def _entry(asked: Asked, now_ms: int) -> JournalEntry:
    deed = _text(asked, "deed")
    try:
        known = Deed(deed)
    except ValueError:
        raise ValueError(f"no deed {deed!r}; there are: {', '.join(Deed)}") from None
    return JournalEntry(
        at_ms=_number(asked, "at_ms") if "at_ms" in asked else now_ms,
        tank=_text(asked, "tank"),
        deed=known,
        until_ms=_number(asked, "until_ms") if asked.get("until_ms") is not None else None,
        detail=str(asked.get("detail", "")),
    )


def _number(asked: Asked, name: str) -> int:
    value = asked.get(name)
    if not isinstance(value, int) or isinstance(value, bool):
        raise ValueError(f"{name} is {value!r}; a whole number is needed")  # noqa: TRY004
    return value


def _text(asked: Asked, name: str) -> str:
    value = asked.get(name)
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"{name} is {value!r}; a text is needed")
    return value
