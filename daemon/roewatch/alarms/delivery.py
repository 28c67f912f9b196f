"""A delivery: whether a way still reaches its person, judged from the receipts it gives."""

from roewatch.alarms.notice import Outcome, Receipt
from roewatch.judging.finding import Finding
from roewatch.room.kind import Kind
from roewatch.room.tank import ROOM


def delivery_finding(
    way: str, receipt: Receipt, *, made_ms: int, patience_ms: int
) -> Finding | None:
    """What a receipt says about its way; None when it says nothing either way.

    way: `Keeper/phone`. made_ms: when the notice was made; a way that has not taken it
    patience_ms later counts as failing. A notice taken ends that; one given up, which may be
    because nobody wanted it any more, says nothing.
    """
    late = receipt.at_ms - made_ms >= patience_ms
    failing = receipt.outcome is Outcome.REFUSED or (late and receipt.outcome is Outcome.TRY_LATER)
    if not failing and receipt.outcome is not Outcome.TAKEN:
        return None
    return Finding(
        tank=ROOM,
        kind=Kind.NOTICE_UNDELIVERED,
        quantity=None,
        probe=way,  # what the alarm is about stands where a probe would, so each way has its own
        at_ms=receipt.at_ms,
        since_ms=made_ms,
        present=failing,
        value=None,
        message=f"{way}: {receipt.reason}" if failing else f"{way} takes messages again",
    )
