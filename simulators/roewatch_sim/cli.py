"""roewatch-sim: The Boathouse on a broker, or in a file, with faults on command."""

import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from threading import Event
from typing import Annotated, NoReturn

import typer

from roewatch.room.moment import SECOND_MS, at_ms_of, at_ms_of_iso, span_ms_of
from roewatch.room.quantity import Quantity
from roewatch_sim.boathouse import boathouse
from roewatch_sim.fault import OF_THE_ROOM, FaultKind, SimFault
from roewatch_sim.payload import Board
from roewatch_sim.publish import BrokerRefusedError, Publisher
from roewatch_sim.record import ReadingsFile, label_line, write_journal, write_labels
from roewatch_sim.room import Sample, SimRoom

_DONE, _COULD_NOT = 0, 2
_LOOK_EVERY_S = 0.05

app = typer.Typer(add_completion=False, pretty_exceptions_enable=False)


@dataclass(frozen=True, slots=True)
class Pace:
    """How simulated time runs: `speed` times the real clock, for `seconds` of real time."""

    start_ms: int
    speed: float
    seconds: float | None

    def moments(self, stop: Event) -> Iterator[int]:
        """The simulated moment, again and again, until the time is over or `stop` is set."""
        began_s = time.monotonic()
        while not stop.wait(_LOOK_EVERY_S):
            gone_s = time.monotonic() - began_s
            over = self.seconds is not None and gone_s >= self.seconds
            yield self.start_ms + int(min(gone_s, self.seconds or gone_s) * self.speed * SECOND_MS)
            if over:
                return


@dataclass(frozen=True, slots=True)
class Where:
    """A broker to publish on."""

    host: str
    port: int
    user: str | None
    password: str | None


@app.command()
def run(  # noqa: PLR0913, a command line is as long as what can be asked
    *,
    broker: Annotated[str | None, typer.Option(help="HOST:PORT to publish on.")] = None,
    user: Annotated[str | None, typer.Option(help="Name to log in with.")] = None,
    password_file: Annotated[
        Path | None, typer.Option(help="File whose first line is the password.")
    ] = None,
    speed: Annotated[float, typer.Option(help="Simulated seconds per real second.")] = 1.0,
    seed: Annotated[int, typer.Option(help="Same seed, same room, same numbers.")] = 1,
    scenario: Annotated[FaultKind | None, typer.Option(help="A fault to play.")] = None,
    tank: Annotated[str, typer.Option(help="The tank it strikes.")] = "A3",
    quantity: Annotated[
        Quantity | None, typer.Option(help="Which probe, for faults of probes.")
    ] = None,
    strength: Annotated[
        float | None, typer.Option(help="How badly; what it means depends on the fault.")
    ] = None,
    after: Annotated[str, typer.Option(help="Simulated span from the start to it.")] = "10 min",
    lasting: Annotated[str | None, typer.Option(help="Simulated span until mended.")] = None,
    seconds: Annotated[float | None, typer.Option(help="Real seconds to run for.")] = None,
    start: Annotated[
        str | None, typer.Option(help="ISO 8601 time simulated time starts at; default now.")
    ] = None,
    every: Annotated[str, typer.Option(help="How often each probe speaks.")] = "60 s",
    csv: Annotated[
        Path | None,
        typer.Option(help="Write readings here; labels and journal beside it."),
    ] = None,
    room: Annotated[str, typer.Option(help="First level of the topics.")] = "boathouse",
    pack_older: Annotated[
        bool, typer.Option("--pack-older", help="SenML boards send two rounds in one pack.")
    ] = False,
) -> None:
    """Run The Boathouse: publish its probes, or write them to a file, or both.

    With --csv and no --broker it writes seconds x speed of simulated time as fast as it can.
    Each injected fault is one JSON line on stdout, with its simulated time.
    """
    try:
        start_ms = _start_ms(start)
        tanks = boathouse(seed, start_ms, every_ms=span_ms_of(every))
        if scenario is not None:
            at_ms = start_ms + span_ms_of(after)
            of_room = scenario in OF_THE_ROOM
            tanks.inject(
                SimFault(
                    scenario, "" if of_room else tank, at_ms,
                    at_ms + span_ms_of(lasting) if lasting else None, strength, quantity,
                )
            )  # fmt: skip
        pace = _pace(start_ms, speed, seconds)
        where = _where(broker, user, password_file)
    except (ValueError, KeyError, OSError) as error:
        _give_up(str(error.args[0]) if isinstance(error, KeyError) else str(error))
    if where is None and csv is None:
        _give_up("nothing to do; give --broker HOST:PORT to publish, or --csv FILE to write")
    if where is None and seconds is None:
        _give_up("a file without an end; say --seconds (of real time; times --speed is simulated)")
    try:
        _go(tanks, pace, where, csv, Board(room, pack_older=pack_older))
    except (BrokerRefusedError, TimeoutError, OSError) as error:
        _give_up(str(error))


def _go(tanks: SimRoom, pace: Pace, where: Where | None, csv: Path | None, board: Board) -> None:
    stop = Event()
    for fault in tanks.labels:
        print(label_line(fault), flush=True)
    with ExitStack() as closing:
        for name in (signal.SIGINT, signal.SIGTERM):
            before = signal.signal(name, lambda *_: stop.set())
            closing.callback(signal.signal, name, before)
        ways: list[Callable[[list[Sample]], int]] = []
        if csv is not None:
            out = closing.enter_context(csv.open("w", encoding="utf-8", newline=""))
            ways.append(ReadingsFile(out).write)
            closing.callback(_write_beside, csv, tanks)
        if where is not None:
            publisher = Publisher(
                where.host, where.port, user=where.user, password=where.password, board=board
            )
            publisher.start()
            closing.callback(publisher.stop)
            ways.append(publisher.publish)
            moments = pace.moments(stop)
        else:
            moments = iter([pace.start_ms + int((pace.seconds or 0) * pace.speed * SECOND_MS)])
        count = 0
        for now_ms in moments:
            for lot in _lots(tanks.run(now_ms), stop):
                count += len(lot)
                for way in ways:
                    way(lot)
    print(f"roewatch-sim: {count} readings", file=sys.stderr)


def _lots(samples: Iterator[Sample], stop: Event) -> Iterator[list[Sample]]:
    """Samples in lots of at most 5,000; none after `stop`."""
    while not stop.is_set() and (lot := list(islice(samples, 5_000))):
        yield lot


def _write_beside(csv: Path, tanks: SimRoom) -> None:
    write_labels(csv.with_suffix(".labels.jsonl"), tanks.labels)
    write_journal(csv.with_suffix(".journal.csv"), tanks.journal)


def _start_ms(start: str | None) -> int:
    return at_ms_of(datetime.now(UTC)) if start is None else at_ms_of_iso(start)


def _pace(start_ms: int, speed: float, seconds: float | None) -> Pace:
    if speed <= 0:
        raise ValueError(f"--speed {speed:g} would stop time; give a number above zero")
    if seconds is not None and seconds <= 0:
        raise ValueError(f"--seconds {seconds:g} is no time at all; give a number above zero")
    return Pace(start_ms, speed, seconds)


def _where(broker: str | None, user: str | None, password_file: Path | None) -> Where | None:
    if broker is None:
        return None
    host, colon, port = broker.rpartition(":")
    if not colon or not port.isdecimal():
        raise ValueError(f"--broker {broker!r} is not HOST:PORT; write localhost:1883")
    password = None
    if password_file is not None:
        password = password_file.read_text(encoding="utf-8").partition("\n")[0].rstrip("\r")
    return Where(host, int(port), user, password)


def _give_up(why: str) -> NoReturn:
    print(f"roewatch-sim: {why}.", file=sys.stderr)
    raise typer.Exit(_COULD_NOT)


def main() -> None:
    """The command's way in."""
    app()
