"""A channel: one way a notice leaves the house, and how it says that it could not."""

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from roewatch.alarms.notice import Notice


class TryLater(Exception):  # noqa: N818  # named as it reads where it is caught
    """It did not go, but may later. The text is safe to show; after_ms: the receiver's wish."""

    def __init__(self, reason: str, after_ms: int | None = None) -> None:
        super().__init__(reason)
        self.after_ms = after_ms


class Refused(Exception):  # noqa: N818
    """It will not go until somebody mends the settings. The text is safe to show."""


class UnusableWay(ValueError):  # noqa: N818
    """The address of a way cannot be used; the text says why, without the address."""


class Channel(Protocol):
    """Hands a notice over."""

    def send(self, notice: Notice) -> None:
        """Return once it has been handed over; else raise `TryLater` or `Refused`.

        A notice sent again carries the same `id`; what can pass it on to the receiver does.
        """


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A chart as PNG, and in words what it shows."""

    png: bytes
    name: str
    words: str


@runtime_checkable
class PictureChannel(Protocol):
    """A channel that can also send a picture, in a message of its own after the text."""

    def send_picture(self, notice: Notice, picture: Picture) -> None:
        """Return once it has been handed over; else raise `TryLater` or `Refused`."""


class Secret(Protocol):
    """Text that does not print itself, as settings keep it."""

    def get_secret_value(self) -> str:
        """The text."""


class Way(Protocol):
    """What a channel is made from."""

    @property
    def name(self) -> str:
        """The name notices carry, `Keeper/phone`."""

    @property
    def url(self) -> str | Secret:
        """The address; it usually holds a secret."""

    @property
    def timeout_s(self) -> float:
        """The longest wait for the receiver's next word, in seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaySettings:
    """A way by itself: the address is left out when it prints."""

    name: str
    url: str
    timeout_s: float = 15.0

    def __repr__(self) -> str:
        return f"WaySettings(name={self.name!r}, url=<secret>, timeout_s={self.timeout_s})"


def channel_of(way: Way) -> Channel:
    """The channel for a way: http(s) our JSON webhook, mailto(s) mail, any other Apprise.

    Raises UnusableWay if nothing can be made of the address.
    """
    url = way.url if isinstance(way.url, str) else way.url.get_secret_value()
    scheme = url.partition("://")[0].lower()
    # each is imported when a way needs it: together they take a second on a small board
    if scheme in {"http", "https"}:
        from roewatch.outbox.webhook import Webhook  # noqa: PLC0415

        return Webhook(url, timeout_s=way.timeout_s)
    if scheme in {"mailto", "mailtos"}:
        from roewatch.outbox.mail import mail_of  # noqa: PLC0415

        return mail_of(url, timeout_s=way.timeout_s)
    from roewatch.outbox.apprise_way import AppriseWay  # noqa: PLC0415

    return AppriseWay(url, timeout_s=way.timeout_s)
