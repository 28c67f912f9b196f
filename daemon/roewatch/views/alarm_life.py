"""An alarm's life: when it was raised, seen, shelved and over, and what was sent each time."""

from collections.abc import Sequence
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.alarms.notice import About, Notice, Outcome, Receipt
from roewatch.views.alarm_page import (
    ASKS,
    NEXT,
    OUTCOMES,
    alarm_mark,
    chatter,
    state_words,
    way_words,
)
from roewatch.views.asked import NotHereError
from roewatch.views.pages import Desk

_ABOUT = {
    About.RAISED: "told that it began",
    About.RETURNED: "told that it is over",
    About.REMINDER: "reminded",
    About.ESCALATED: "told because nobody answered",
    About.TAKEN_ON: "told who has taken it on",
    About.DIGEST: "in the daily list",
    About.WELL: "in the daily all-is-well",
    About.TEST: "a test",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """One line of a life."""

    at_ms: int
    text: str


def _step(change: AlarmChange) -> Happening:
    alarm, after = change.alarm, change.alarm.state
    text = "back to normal" if after is State.NORMAL else state_words(alarm)
    if after is State.ACKNOWLEDGED and alarm.acknowledged_by:
        text += f" by {alarm.acknowledged_by}"
    if after is State.SHELVED and alarm.shelved_why:
        text += f": {alarm.shelved_why}"
    return Happening(at_ms=change.at_ms, text=text)


def _sent(notice: Notice, receipt: Receipt | None) -> Happening:
    what = f"{way_words(notice)}: {_ABOUT[notice.about]}"
    if receipt is None:
        return Happening(at_ms=notice.made_ms, text=f"{what}, not sent yet")
    outcome = OUTCOMES[receipt.outcome]
    reason = f" ({receipt.reason})" if receipt.reason else ""
    after = NEXT.get(receipt.outcome, "")
    tries = f" at try {receipt.attempt}" if receipt.outcome is not Outcome.TAKEN else ""
    return Happening(at_ms=receipt.at_ms, text=f"{what}, {outcome}{tries}{after}{reason}")


def life(
    changes: Sequence[AlarmChange], told: Sequence[tuple[Notice, Receipt | None]]
) -> list[Happening]:
    """What happened, in order."""
    lines = [_step(change) for change in changes] + [_sent(*pair) for pair in told]
    return sorted(lines, key=lambda line: line.at_ms)


def alarm_life(desk: Desk, request: Request) -> Response:
    """The page of one alarm. Raises NotHereError for a number that never was."""
    number = request.path_params["number"]
    alarm = desk.records.alarm(number) if number < 2**63 else None
    if alarm is None:
        raise NotHereError(f"There is no alarm {number}.")
    sight = desk.lookout.look()
    return desk.page(
        request,
        "life.html",
        sight,
        alarm=alarm,
        lines=life(desk.records.changes(number), desk.records.told(number)),
        chatters=chatter(desk, [alarm], sight.now_ms, sight.room.zone),
        asks=ASKS,
        alarm_mark=alarm_mark,
        state_words=state_words,
    )
