"""A workshop without file or broker: what was asked of it is kept in a list."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from roewatch.room.kind import Priority
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.views.contact_ports import ContactView, WayView, WayWish
from roewatch.views.setup_ports import BrokerView, HeardProbe, HeardWords, Listening, TestSent
from roewatch.water.source import SourceWater

TEMPERATURE, PH = Quantity.TEMPERATURE, Quantity.PH


def heard(key: str, quantity: Quantity | None, value: float, **more: object) -> HeardProbe:
    topic, _, where = key.partition(" ")
    base = {"rose": 0.0, "tied": "", "tank": ""} | more
    return HeardProbe(
        key=key, topic=topic, where=where, quantity=quantity, value=value,
        **base,  # type: ignore[arg-type]
    )  # fmt: skip


HEARD = Listening(
    left_s=31.0,
    messages=412,
    probes=(
        heard("house/b2/water", TEMPERATURE, 28.9, rose=3.6),
        heard("house/a1/water", TEMPERATURE, 25.1, tied="A1"),
        heard("house/air /celsius", TEMPERATURE, 21.3),
        heard("house/node-with-a-very-long-name-in-the-far-corner/ph", PH, 6.5),
    ),
    others=(HeardWords(topic="lamp/state", latest='"on"', why="not a number"),),
    warmed="house/b2/water",
)


def person(name: str, *ways: str, **more: object) -> ContactView:
    base: dict[str, object] = {"quiet": "", "lowest": Priority.LOW} | more
    told = tuple(WayView(name=way, kind="ntfy", wait_s=15.0) for way in ways)
    return ContactView(name=name, ways=told, **base)  # type: ignore[arg-type]


@dataclass
class GlassContacts:
    """Two people; what is asked of them goes into the workshop's list."""

    do: Callable[..., None]
    people: list[ContactView] = field(
        default_factory=lambda: [
            person("Keeper", "phone", "mail"),
            person("Stand-in", "phone", quiet="22:00-07:00", lowest=Priority.MEDIUM),
        ]
    )

    def contacts(self) -> Sequence[ContactView]:
        return self.people

    def patience(self) -> str:
        return "10 min"

    def be_patient(self, span: str) -> None:
        self.do("patience", span)

    def add(self, name: str, way: WayWish) -> None:
        self.do("contact", name, way)

    def change(self, name: str, *, to: str, quiet: str, lowest: Priority) -> None:
        self.do("change", name, to, quiet, lowest)

    def remove(self, name: str) -> None:
        self.do("remove", name)

    def sooner(self, name: str) -> None:
        self.do("sooner", name)

    def add_way(self, name: str, way: WayWish) -> None:
        self.do("way", name, way)

    def change_way(self, name: str, way: WayWish) -> None:
        self.do("change way", name, way)

    def remove_way(self, name: str, way: str) -> None:
        self.do("remove way", name, way)


@dataclass
class GlassWorkshop:
    """Hears four numbers and one lamp; does as it is told, or refuses with `refusal`."""

    done: list[tuple[object, ...]] = field(default_factory=list)
    refusal: str = ""
    heard: Listening = HEARD
    contacts: GlassContacts = field(init=False)

    def __post_init__(self) -> None:
        self.contacts = GlassContacts(self._do)

    def _do(self, *deed: object) -> None:
        if self.refusal:
            raise ValueError(self.refusal)
        self.done.append(deed)

    def broker(self) -> BrokerView:
        return BrokerView(host="127.0.0.1", port=1883, username="roewatch", tls=False)

    def listening(self) -> Listening:
        return self.heard

    def listen(self, seconds: float) -> None:
        self._do("listen", seconds)

    def species(self) -> Sequence[tuple[str, str]]:
        return [("boraras-brigittae", "Boraras brigittae")]

    def ways(self) -> Sequence[str]:
        return ["Keeper/phone", "Keeper/mail"]

    def waters(self) -> Sequence[SourceWater]:
        return [SourceWater(name="roof rain", celsius=12.0, alkalinity=0.05)]

    def serve_by(self, host: str, port: int, username: str, password: str) -> None:
        self._do("broker", host, port, username, password)

    def lay_out(self, rack: str, shelves: Sequence[int], litres: float) -> None:
        self._do("rack", rack, list(shelves), litres)

    def place(self, tank: str, rack: str, shelf: int, place: int) -> None:
        self._do("place", tank, rack, shelf, place)

    def tie(self, key: str, tank: str, quantity: Quantity) -> None:
        self._do("tie", key, tank, quantity)

    def stock(self, tank: str, species: str, stage: Stage) -> None:
        self._do("stock", tank, species, stage)

    def calibrate(self, probe: str, points: Sequence[str], *, anyway: bool) -> str:
        self._do("calibrate", probe, list(points), anyway)
        return f"{probe}: slope 1.0200, offset -0.140"

    def again(self) -> None:
        self._do("again")

    def test(self) -> Sequence[TestSent]:
        return [
            TestSent(way="Keeper/phone", outcome="taken", reason=""),
            TestSent(way="Keeper/mail", outcome="refused", reason="no such mailbox"),
        ]
