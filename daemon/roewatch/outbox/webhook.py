"""Our JSON webhook: one POST for each notice, made so that a repeat can be told from a new one.

    POST <address>
    Content-Type: application/json; charset=utf-8
    Idempotency-Key: <notice id>

    {"id": "9f…", "contact": "Keeper", "about": "raised", "priority": "high", "alarms": [42],
     "title": "A1 temperature falling: heater dead", "body": "…", "link": "https://…",
     "made": "2026-03-01T11:20:00Z"}

Any 2xx answer means taken. 408, 425, 429 and 5xx mean later (`Retry-After` in seconds is heeded);
any other answer means refused. The same id may come twice after a lost answer: show it once.
"""

import json

import requests

from roewatch.alarms.notice import Notice
from roewatch.outbox.channel import Refused, TryLater, UnusableWay
from roewatch.outbox.veil import Veil
from roewatch.room.moment import iso

_LATER = frozenset({408, 425, 429})


class Webhook:
    """Posts notices to one address; name and password in it become basic authentication."""

    def __init__(self, url: str, *, timeout_s: float = 15.0) -> None:
        self._veil = Veil(url)
        try:
            prepared = requests.Request("POST", url).prepare()
        except (requests.RequestException, ValueError) as error:
            raise UnusableWay(
                f"webhook: {self._veil.over(str(error))}; write https://host/path"
            ) from None
        if not prepared.url:
            raise UnusableWay("webhook: no address; write https://host/path")
        self._url = url
        self._timeout_s = timeout_s

    def send(self, notice: Notice) -> None:
        """Post it. Raises TryLater, Refused."""
        headers = {
            "Content-Type": "application/json; charset=utf-8",
            "Idempotency-Key": notice.id,
            "User-Agent": "roewatch",
        }
        try:
            # streamed, so that an endless answer is not read; only its status counts
            with requests.post(
                self._url,
                data=json.dumps(webhook_body(notice), ensure_ascii=False).encode(),
                headers=headers,
                timeout=self._timeout_s,
                allow_redirects=False,
                stream=True,
            ) as answer:
                self._judge(answer.status_code, answer.headers.get("Retry-After", ""))
        except requests.RequestException as error:
            raise TryLater(self._veil.over(_reason(error, self._timeout_s))) from None

    @staticmethod
    def _judge(status: int, retry_after: str) -> None:
        if 200 <= status < 300:
            return
        if status in _LATER or status >= 500:
            after_ms = int(retry_after) * 1000 if retry_after.isdecimal() else None
            raise TryLater(f"the receiver answered {status}", after_ms)
        if 300 <= status < 400:
            raise Refused(f"the receiver answered {status}: it has moved, write its new address")
        raise Refused(f"the receiver answered {status}: check address and token")


def webhook_body(notice: Notice) -> dict[str, object]:
    """The JSON object a receiver gets."""
    return {
        "id": notice.id,
        "contact": notice.contact,
        "about": notice.about.value,
        "priority": notice.priority.value,
        "alarms": list(notice.alarms),
        "title": notice.title,
        "body": notice.body,
        "link": notice.link,
        "made": iso(notice.made_ms),
    }


def _reason(error: requests.RequestException, timeout_s: float) -> str:
    if isinstance(error, requests.Timeout):
        return f"no answer within {timeout_s:g} s"
    if isinstance(error, requests.exceptions.SSLError):
        return f"TLS failed: {error}"
    if isinstance(error, requests.ConnectionError):
        inner = str(error)
        if "refused" in inner:
            return "the connection was refused"
        if "closed connection" in inner or "reset" in inner:
            return "the receiver hung up before it answered"
        return f"no connection: {inner}"
    return f"{type(error).__name__}: {error}"
