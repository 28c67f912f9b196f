"""What the set-up page asks of the rest: to listen on the broker, and to write the room file."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.views.contact_ports import ContactBook
from roewatch.water.source import SourceWater


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardProbe:
    """A number on the broker that a probe could be tied to. key: what `tie` knows it by.

    value: the newest, in the kept unit. rose: °C above its lowest while listening. tied: the tank
    of the probe that reads it already, else empty. tank: what its topic seems to say.
    """

    key: str
    topic: str
    where: str
    quantity: Quantity | None
    value: float | None
    rose: float
    tied: str
    tank: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardWords:
    """A topic that speaks and holds nothing a probe could measure, with its last words and why."""

    topic: str
    latest: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """What was heard. left_s: how long it still listens; 0 when it does not. warmed: a key."""

    left_s: float = 0.0
    messages: int = 0
    trouble: str = ""
    probes: tuple[HeardProbe, ...] = ()
    others: tuple[HeardWords, ...] = ()
    warmed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerView:
    """Where the broker is; its password is never shown."""

    host: str
    port: int
    username: str
    tls: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSent:
    """What became of one test notice."""

    way: str
    outcome: str
    reason: str


class Workshop(Protocol):
    """The room file and the broker, for a keeper. Every refusal is a ValueError for that person."""

    @property
    def contacts(self) -> ContactBook:
        """Whom to tell."""

    def broker(self) -> BrokerView: ...

    def listening(self) -> Listening: ...

    def listen(self, seconds: float) -> None:
        """Hear everything on the broker for a while, from now on."""

    def species(self) -> Sequence[tuple[str, str]]:
        """The sheets there are, as (id, Latin name)."""

    def ways(self) -> Sequence[str]:
        """The ways by which people are told."""

    def waters(self) -> Sequence[SourceWater]:
        """The room's own source waters."""

    def serve_by(self, host: str, port: int, username: str, password: str) -> None:
        """Another broker. An empty password leaves the one that is set."""

    def lay_out(self, rack: str, shelves: Sequence[int], litres: float) -> None:
        """A new rack, so many tanks on each shelf from the top."""

    def place(self, tank: str, rack: str, shelf: int, place: int) -> None:
        """Put a tank elsewhere; one that stands there comes to where it stood."""

    def tie(self, key: str, tank: str, quantity: Quantity) -> None:
        """A heard number is that tank's probe from now on."""

    def stock(self, tank: str, species: str, stage: Stage) -> None:
        """What lives in a tank, and in which stage it is."""

    def calibrate(self, probe: str, points: Sequence[str], *, anyway: bool) -> str:
        """Calibrate by points such as `4.12=4@25`; returns what was found, in words."""

    def again(self) -> None:
        """Read the room file anew, as somebody wrote it, and go by it."""

    def test(self) -> Sequence[TestSent]:
        """Send a test the whole way, from the broker to the people."""
