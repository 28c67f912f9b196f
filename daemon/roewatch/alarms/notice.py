"""A notice: what is sent to a contact about alarms; and a receipt: proof it was handed over."""

from dataclasses import dataclass
from enum import StrEnum

from roewatch.room.kind import Priority


class About(StrEnum):
    """Why a notice is sent."""

    RAISED = "raised"
    RETURNED = "returned"
    REMINDER = "reminder"
    ESCALATED = "escalated"
    TAKEN_ON = "taken-on"  # somebody acknowledged; the others told learn who has it
    WELL = "all-is-well"
    DIGEST = "digest"
    TEST = "test"


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One message for one contact by one way.

    id: the identity; a repeat after a crash carries the same one, so receivers can de-duplicate.
    way: the name of the contact's way, e.g. `phone`. alarms: the alarm numbers it speaks of.
    title: place, quantity, direction first (a lock screen shows 40 characters). body: text
    with value, window, since when, what to do. due_ms: not to be sent before.
    """

    id: str
    contact: str
    way: str
    about: About
    priority: Priority
    alarms: tuple[int, ...]
    title: str
    body: str
    made_ms: int
    due_ms: int
    link: str = ""


class Outcome(StrEnum):
    """What became of one attempt to hand a notice over."""

    TAKEN = "taken"
    TRY_LATER = "try-later"
    REFUSED = "refused"
    GIVEN_UP = "given-up"


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """One attempt: what the receiver answered. reason: kept and shown, with secrets left out."""

    notice: str
    at_ms: int
    outcome: Outcome
    reason: str = ""
    attempt: int = 1
