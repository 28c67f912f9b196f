"""`roewatch listen`: what speaks on the broker, and the `[[probe]]` entry each topic would need."""

import sys
import threading
from collections.abc import Collection
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from roewatch.intake.example import example
from roewatch.room.moment import span_text
from roewatch.service.cli.options import Json, RoomFile, json_line, setup_of, stop_on_signal
from roewatch.service.cli.which_broker import Host, PasswordFile, Port, Username, broker_of
from roewatch.service.clock import WallClock
from roewatch.service.own_topics import OURS

if TYPE_CHECKING:
    from roewatch.intake.link import BrokerSettings
    from roewatch.intake.message import Message
    from roewatch.intake.survey import HeardTopic


def listen(  # noqa: PLR0913, PLR0917 - the options of a command
    room: RoomFile = None,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1.0, max=3600.0, help="How long to listen.")
    ] = 30.0,
    topic: Annotated[str, typer.Option("--topic", help="Only these; + and # are wildcards.")] = "#",
    host: Host = None,
    port: Port = 1883,
    username: Username = "",
    password_file: PasswordFile = None,
    json: Json = False,
) -> None:
    """Listen to the broker, and print the probe entry each new topic would need.

    Changes nothing. Exit status: 0 something spoke, 1 nothing did, 2 could not run.
    """
    from roewatch.intake.survey import survey  # noqa: PLC0415  # network libraries are heavy

    tanks: Collection[str] = ()
    known: dict[str, list[str]] = {}
    if host is None:
        setup = setup_of(room)
        tanks = [tank.id for tank in setup.room.tanks]
        for binding in setup.bindings:
            known.setdefault(binding.topic, []).append(binding.probe)
    broker = broker_of(room, host=host, port=port, username=username, password_file=password_file)
    messages = _heard(broker, topic, seconds)
    topics = [found for found in survey(messages, tanks=tanks) if not found.topic.startswith(OURS)]
    for found in topics:
        _tell(found, known.get(found.topic, []), json=json)
    if not topics:
        print(
            f"Nothing spoke on {topic!r} at {broker.address} in {seconds:g} s. Are the probes "
            "switched on, and do they speak to this broker?",
            file=sys.stderr,
        )
        raise typer.Exit(1)
    new = sum(found.topic not in known for found in topics)
    print(
        f"{len(topics)} topics spoke, {new} of them not in the settings. Copy what is right into "
        "room.toml, fill in the gaps, then run `roewatch check`.",
        file=sys.stderr,
    )


def _heard(broker: "BrokerSettings", topic: str, seconds: float) -> list["Message"]:
    from roewatch.service.overheard import overhear  # noqa: PLC0415

    stop = threading.Event()
    stop_on_signal(stop)
    with Progress(
        TextColumn("listening"),
        BarColumn(),
        TextColumn("{task.fields[count]} messages"),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    ) as bar:
        task = bar.add_task("", total=1.0, count=0)
        return overhear(
            broker,
            topic,
            seconds,
            now_ms=WallClock().now_ms,
            stop=stop,
            heard=lambda count, share: bar.update(task, completed=share, count=count),
        )


def _tell(found: "HeardTopic", probes: list[str], *, json: bool) -> None:
    if json:
        json_line(
            {
                "topic": found.topic,
                "messages": found.messages,
                "retained": found.retained,
                "latest": found.latest,
                "every_s": None if found.every_ms is None else found.every_ms / 1000,
                "probes": probes,
                "others": list(found.others),
                "why": found.why,
                "proposed": [] if probes else [proposed.toml() for proposed in found.probes],
            }
        )
        return
    every = f", every {span_text(found.every_ms)}" if found.every_ms else ""
    times = "1 message" if found.messages == 1 else f"{found.messages} messages"
    print(f"# {example(found.topic)}: {times}{every}; the last: {found.latest}")
    if probes:
        print(f"# in the settings already: {', '.join(probes)}\n")
        return
    if found.why:
        print(f"# no probe: {found.why}")
    if found.others:
        print(f"# other numbers in it: {', '.join(found.others)}")
    for proposed in found.probes:
        print(proposed.toml(), end="")
    print()
