"""A token: lets one person acknowledge one raise of one alarm once, from a message.

The token is text signed with the daemon's key; it holds no secret. It is spent by what it does:
once its alarm has been acknowledged, reset or raised anew, the same token acknowledges nothing,
so no list of used tokens has to be kept. The page that takes it must ask for a button press, for
programs fetch links in messages to draw previews.
"""

import base64
import hashlib
import hmac
import json
from dataclasses import dataclass

from roewatch.alarms.alarm import Alarm, State

_SIGNATURE = 16  # bytes of HMAC-SHA-256 kept: 128 bits, short enough for one line of a message


class Unusable(ValueError):  # noqa: N818  # named as it reads where it is caught
    """The token is not ours, too old, or spent; the text says which, for the person."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What a token says: this contact may acknowledge that raise of that alarm until then."""

    number: int
    episode: int
    by: str
    issued_ms: int
    expires_ms: int


def make_token(key: bytes, alarm: Alarm, *, by: str, issued_ms: int, lives_ms: int) -> str:
    """A token for `by` and the present raise of `alarm`. key: 16 random bytes or more."""
    if len(key) < 16:
        raise ValueError("the token key needs 16 random bytes or more")
    claim = [alarm.number, alarm.episode, by, issued_ms, issued_ms + lives_ms]
    payload = json.dumps(claim, ensure_ascii=False, separators=(",", ":")).encode()
    return f"{_text(payload)}.{_text(_signature(key, payload))}"


def read_token(key: bytes, token: str, now_ms: int) -> Claim:
    """What a token of ours says. Raises Unusable if it is not ours or has expired."""
    try:
        payload, signature = (_bytes(part) for part in token.split("."))
    except ValueError:
        raise Unusable("this link is damaged; open the alarm page instead") from None
    if not hmac.compare_digest(_signature(key, payload), signature):
        raise Unusable("this link was not made here; open the alarm page instead")
    number, episode, by, issued_ms, expires_ms = json.loads(payload)
    if now_ms >= expires_ms:
        raise Unusable("this link has expired; open the alarm page instead")
    return Claim(number=number, episode=episode, by=by, issued_ms=issued_ms, expires_ms=expires_ms)


def check_claim(claim: Claim, alarm: Alarm | None) -> Alarm:
    """The alarm, when the claim still fits it. alarm: the one of that number, None if unknown.

    Raises Unusable; the text says what became of the alarm.
    """
    if alarm is None or alarm.state is State.NORMAL:
        raise Unusable(f"alarm {claim.number} is back to normal; nothing to acknowledge")
    if alarm.state is State.ACKNOWLEDGED:
        who = alarm.acknowledged_by or "somebody"
        raise Unusable(f"alarm {claim.number} is acknowledged already: {who} has it")
    if alarm.episode != claim.episode or not _same_ring(claim, alarm):
        raise Unusable(f"alarm {claim.number} was raised again since; use the newer message")
    if alarm.state not in {State.UNACKNOWLEDGED, State.RETURNED}:
        raise Unusable(f"alarm {claim.number} is {alarm.state.value}; nothing to acknowledge")
    return alarm


def _same_ring(claim: Claim, alarm: Alarm) -> bool:
    # an alarm that asks again after an acknowledgement needs a new look, not the old link
    return alarm.state is not State.UNACKNOWLEDGED or claim.issued_ms >= alarm.changed_ms


def _signature(key: bytes, payload: bytes) -> bytes:
    return hmac.new(key, b"roewatch acknowledge\n" + payload, hashlib.sha256).digest()[:_SIGNATURE]


def _text(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def _bytes(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
