"""What the contacts page asks of the rest: whom to tell, and by which ways; never an address."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from roewatch.room.kind import Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class WayView:
    """One way. kind: the scheme of its address, which says the service and no secret.

    wait_s: the longest wait for the receiver.
    """

    name: str
    kind: str
    wait_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactView:
    """One person. quiet: `22:00-07:00`, or empty. lowest: the least they are told of."""

    name: str
    quiet: str
    lowest: Priority
    ways: tuple[WayView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WayWish:
    """A way as somebody wants it. url: empty leaves the one there is. wait_s: None leaves it."""

    name: str
    url: str
    wait_s: float | None = None

    def __repr__(self) -> str:
        return f"WayWish(name={self.name!r}, url=<secret>, wait_s={self.wait_s})"


class ContactBook(Protocol):
    """Whom to tell, in their order. Every refusal is a ValueError for that person.

    What is changed stands in the room file and holds from then on.
    """

    def contacts(self) -> Sequence[ContactView]:
        """The first is told first, the next one when nobody acknowledges."""

    def patience(self) -> str:
        """How long a serious alarm waits for an acknowledgement before the next one is told."""

    def be_patient(self, span: str) -> None:
        """Wait so long, written like `10 min`."""

    def add(self, name: str, way: WayWish) -> None:
        """One more person, the last to be told, with a first way."""

    def change(self, name: str, *, to: str, quiet: str, lowest: Priority) -> None:
        """Another name, other hours, another least priority."""

    def remove(self, name: str) -> None:
        """Tell them no more."""

    def sooner(self, name: str) -> None:
        """Tell them before the one who now stands before them."""

    def add_way(self, name: str, way: WayWish) -> None:
        """One more way to somebody."""

    def change_way(self, name: str, way: WayWish) -> None:
        """Another address, or another wait, for the way of that name."""

    def remove_way(self, name: str, way: str) -> None:
        """By that way no more."""
