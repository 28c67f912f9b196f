"""The workshop: what the set-up page may do to the room file, and what it may try."""

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from roewatch.intake.survey import ProposedProbe
from roewatch.room.moment import SECOND_MS, span_text
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.service.buffers import fitted, point_of
from roewatch.service.calibrating import NotWrittenError, entry_of, found_words, write_calibration
from roewatch.service.clock import Clock
from roewatch.service.contact_desk import ContactDesk
from roewatch.service.listening import Guest
from roewatch.service.room_file import RoomFile
from roewatch.service.settings.load import Setup
from roewatch.service.settings.rewriting import Scalar, entry_at, with_entry, with_keys
from roewatch.service.watch import Watch
from roewatch.views.setup_ports import BrokerView, Listening, TestSent
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater

RECEIPTS_S = 15.0
_MOST_TANKS = 200  # laid out at once


class Workshop:
    """For the pages, from any thread. Every refusal is a ValueError with text for the person."""

    def __init__(self, room: RoomFile, watch: Watch, clock: Clock) -> None:
        self.contacts = ContactDesk(room)
        self._room = room
        self._watch = watch
        self._clock = clock
        self._guest = Guest(clock.now_ms)

    @property
    def _setup(self) -> Setup:
        return self._room.setup

    def stop(self) -> None:
        """The daemon ends."""
        self._guest.stop()

    # -- what is to be seen ---------------------------------------------------------------------

    def broker(self) -> BrokerView:
        """Where the broker is."""
        broker = self._setup.broker
        return BrokerView(
            host=broker.host, port=broker.port, username=broker.username, tls=broker.tls
        )

    def listening(self) -> Listening:
        """What was heard on the broker so far."""
        return self._guest.listening(self._setup)

    def listen(self, seconds: float) -> None:
        """Hear everything for a while, from now on."""
        self._guest.listen(self._setup.broker, seconds)

    def species(self) -> Sequence[tuple[str, str]]:
        """The sheets there are, as (id, Latin name)."""
        return sorted((sheet.id, sheet.latin) for sheet in self._setup.species.values())

    def ways(self) -> Sequence[str]:
        """The ways by which people are told."""
        return [way.name for way in self._setup.ways]

    def waters(self) -> Sequence[SourceWater]:
        """The room's own source waters."""
        return [water.source for water in self._setup.waters.values()]

    # -- what is written --------------------------------------------------------------------------

    def serve_by(self, host: str, port: int, username: str, password: str) -> None:
        """Another broker. An empty password leaves the one that is set."""
        values: dict[str, Scalar] = {"host": host, "port": port}
        if username or self._setup.broker.username:
            values["username"] = username
        if password:
            values["password"] = password
        self._room.change(lambda text: with_keys(text, ("broker",), values))

    def lay_out(self, rack: str, shelves: Sequence[int], litres: float) -> None:
        """A new rack, so many tanks on each shelf from the top."""
        if not 1 <= sum(shelves) <= _MOST_TANKS:
            raise ValueError(f"{sum(shelves)} tanks; lay out 1 to {_MOST_TANKS} at once")
        known = {tank.id.lower() for tank in self._setup.room.tanks}
        ids = (name for n in range(1, 10_000) if (name := f"{rack}{n}").lower() not in known)
        entries: list[dict[str, Scalar]] = [
            {"id": next(ids), "litres": litres, "rack": rack, "shelf": shelf, "place": place}
            for shelf, count in enumerate(shelves, 1)
            for place in range(1, count + 1)
        ]

        def edit(text: str) -> str | None:
            written: str | None = text
            for entry in entries:
                written = None if written is None else with_entry(written, "[[tank]]", entry)
            return written

        self._room.change(edit)

    def place(self, tank: str, rack: str, shelf: int, place: int) -> None:
        """Put a tank elsewhere; one that stands there comes to where it stood."""
        moved = self._setup.room.tank(tank)
        there = [
            other
            for other in self._setup.room.tanks
            if other.id != tank
            and (other.place.rack, other.place.shelf, other.place.place) == (rack, shelf, place)
        ]
        spots: dict[str, dict[str, Scalar]] = {tank: {"rack": rack, "shelf": shelf, "place": place}}
        for other in there:
            old = moved.place
            spots[other.id] = {"rack": old.rack, "shelf": old.shelf, "place": old.place}

        def edit(text: str) -> str | None:
            written: str | None = text
            for tank_id, values in spots.items():
                written = _with_tank(written, tank_id, values)
            return written

        self._room.change(edit)

    def tie(self, key: str, tank: str, quantity: Quantity) -> None:
        """A heard number is that tank's probe from now on."""
        probe = self._guest.proposed(self._setup).get(key)
        if probe is None:
            raise ValueError("nothing of that name was heard lately; listen once more")
        self._room.change(lambda text: _with_probe(text, probe, tank, quantity))

    def stock(self, tank: str, species: str, stage: Stage) -> None:
        """What lives in a tank, and in which stage it is."""
        values = {"species": species, "stage": stage.value}
        self._room.change(lambda text: _with_tank(text, tank, values))

    def again(self) -> None:
        """Read the room file anew, as somebody wrote it."""
        with self._room.lock:
            self._room.take_over()

    # -- what is tried ----------------------------------------------------------------------------

    def calibrate(self, probe: str, points: Sequence[str], *, anyway: bool) -> str:
        """Calibrate by points as `buffers.point_of` takes them; returns what was found, in words.

        anyway: use an electrode that should be replaced.
        """
        known = next((p for p in self._setup.room.probes if p.id == probe), None)
        if known is None or known.derived:
            raise ValueError(f"no probe {probe!r} can be calibrated here")
        at_ms = self._clock.now_ms() // SECOND_MS * SECOND_MS
        try:
            found = fitted(known, [point_of(text, known.quantity) for text in points], at_ms)
        except RefusedError as refused:
            raise ValueError(str(refused)) from refused
        words = found_words(known, found)
        if not found.sound and not anyway:
            raise ValueError(f"not written: {words} {' '.join(found.mind)}")
        with self._room.lock:
            try:
                write_calibration(self._room.path, probe, found.calibration)
            except NotWrittenError as failed:
                raise ValueError(str(failed)) from failed
            self._watch.enter(entry_of(known, found, at_ms))
            self._room.take_over()
        return words

    def test(self) -> Sequence[TestSent]:
        """Send a test the whole way; returns what became of each notice."""
        try:
            test = self._watch.test_path()
        except TimeoutError as late:
            raise ValueError(str(late)) from late
        receipts = test.wait_receipts(RECEIPTS_S)
        return [
            TestSent(
                way=notice.way,
                outcome=receipt.outcome.value if receipt else "no answer yet",
                reason=receipt.reason if receipt else "",
            )
            for notice in test.notices
            for receipt in (receipts.get(notice.id),)
        ]


def _with_tank(text: str | None, tank: str, values: Mapping[str, Scalar]) -> str | None:
    at = None if text is None else entry_at(tomllib.loads(text), "tank", "id", tank)
    return None if text is None or at is None else with_keys(text, ("tank", at), values)


def _with_probe(text: str, probe: ProposedProbe, tank: str, quantity: Quantity) -> str | None:
    document = tomllib.loads(text)
    entries: list[dict[str, Any]] = document.get("probe", [])
    part = probe.pointer or probe.name
    for at, entry in enumerate(entries):
        if entry.get("topic") == probe.topic and part == entry.get(
            "pointer", entry.get("name", "")
        ):
            return with_keys(text, ("probe", at), {"tank": tank, "quantity": quantity.value})
    values: dict[str, Scalar] = {}
    usual = f"{tank}-{quantity}".lower()
    names = {
        entry.get("id", f"{entry.get('tank')}-{entry.get('quantity')}".lower()) for entry in entries
    }
    if usual in names:
        values["id"] = next(i for n in range(2, 1000) if (i := f"{usual}-{n}") not in names)
    values |= {"tank": tank, "quantity": quantity.value, "topic": probe.topic}
    values["format"] = probe.format.value
    for name in ("pointer", "time_pointer", "name", "unit"):
        if getattr(probe, name):
            values[name] = getattr(probe, name)
    if probe.every_ms:
        values["every"] = span_text(probe.every_ms)
    return with_entry(text, "[[probe]]", values)
