"""The workshop: what the set-up page may do to the room file, and what it may try."""

import contextlib
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from threading import Lock
from typing import Any

from roewatch.intake.survey import ProposedProbe
from roewatch.room.moment import SECOND_MS, span_text
from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.service.buffers import fitted, point_of
from roewatch.service.calibrating import NotWrittenError, entry_of, found_words, write_calibration
from roewatch.service.clock import Clock
from roewatch.service.listening import Guest
from roewatch.service.reload import Reload
from roewatch.service.settings.load import Setup, faults_of
from roewatch.service.settings.rewriting import Scalar, entry_at, put, with_entry, with_keys
from roewatch.service.watch import Watch
from roewatch.views.setup_ports import BrokerView, Listening, TestSent
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater

RECEIPTS_S = 15.0
_MOST_TANKS = 200  # laid out at once
Edit = Callable[[str], str | None]


class Workshop:
    """For the pages, from any thread. Every refusal is a ValueError with text for the person."""

    def __init__(self, reload: Reload, watch: Watch, clock: Clock, env: Mapping[str, str]) -> None:
        """env: what is laid over the room file when it is checked."""
        self._reload = reload
        self._watch = watch
        self._clock = clock
        self._env = env
        self._lock = Lock()
        self._guest = Guest(clock.now_ms)

    @property
    def _setup(self) -> Setup:
        return self._reload.setup

    @property
    def _file(self) -> Path:
        return self._setup.files[0].resolve()  # a link stays a link

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
        self._write(lambda text: with_keys(text, ("broker",), values))

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

        self._write(edit)

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

        self._write(edit)

    def tie(self, key: str, tank: str, quantity: Quantity) -> None:
        """A heard number is that tank's probe from now on."""
        probe = self._guest.proposed(self._setup).get(key)
        if probe is None:
            raise ValueError("nothing of that name was heard lately; listen once more")
        self._write(lambda text: _with_probe(text, probe, tank, quantity))

    def stock(self, tank: str, species: str, stage: Stage) -> None:
        """What lives in a tank, and in which stage it is."""
        values = {"species": species, "stage": stage.value}
        self._write(lambda text: _with_tank(text, tank, values))

    def _write(self, edit: Edit) -> None:
        """Change the room file and judge by it; what would not hold together changes nothing."""
        with self._lock:
            file = self._file
            try:
                text = file.read_text(encoding="utf-8")
                tomllib.loads(text)
                written = edit(text)
            except (OSError, tomllib.TOMLDecodeError) as error:
                raise ValueError(f"{file.name} cannot be read: {error}") from error
            if written is None:
                raise ValueError(f"{file.name} is written in a way of its own; change it by hand")
            self._check(file, written)
            try:
                put(file, written)
            except OSError as error:
                raise ValueError(
                    f"{file} cannot be written ({error.strerror}); let the daemon's user write it"
                ) from error
            self._taken_over()

    def _check(self, file: Path, text: str) -> None:
        trial = file.with_name(f".{file.name}.trial")
        try:
            trial.write_text(text, encoding="utf-8")
            faults = faults_of(trial, self._env)
        except OSError as error:
            raise ValueError(
                f"{file.parent} cannot be written ({error.strerror}); let the daemon's user do so"
            ) from error
        finally:
            with contextlib.suppress(OSError):
                trial.unlink(missing_ok=True)
        if faults:
            told = "; ".join(f"{fault.key}: {fault.what}" for fault in faults[:3])
            raise ValueError(f"nothing was written, because {file.name} would not hold: {told}")

    def _taken_over(self) -> None:
        if not self._reload():
            raise ValueError("written, but not taken over; the daemon's log says why")

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
        with self._lock:
            try:
                write_calibration(self._file, probe, found.calibration)
            except NotWrittenError as failed:
                raise ValueError(str(failed)) from failed
            self._watch.enter(entry_of(known, found, at_ms))
            self._taken_over()
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
