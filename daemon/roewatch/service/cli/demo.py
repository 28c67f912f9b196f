"""`roewatch demo`: the invented room on this machine."""

import json as jsonlib
import logging
import shutil
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.panel import Panel
from rich.progress import BarColumn, Progress, TaskProgressColumn
from rich.text import Text

from roewatch.service.cli.options import span_option, stop_on_signal

if TYPE_CHECKING:
    from roewatch.alarms.alarm import AlarmChange
    from roewatch.alarms.notice import Notice
    from roewatch.service.demo import Demo


def demo(  # noqa: PLR0913, PLR0917 - the options of a command
    speed: Annotated[
        float, typer.Option(help="How many times faster than real time.", min=0.1)
    ] = 1.0,
    scenario: Annotated[
        str | None, typer.Option(help="Break something: heater-dead, heater-stuck-on, power-cut, …")
    ] = None,
    seconds: Annotated[
        float | None, typer.Option(help="Stop by itself after so many real seconds.", min=1)
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Alarm changes as JSON lines, and a summary at the end.")
    ] = False,
    seed: Annotated[int, typer.Option(help="Another seed, another room's weather and noise.")] = 1,
    port: Annotated[
        int | None,
        typer.Option(help="Port of the pages; a free one without it.", min=1, max=65535),
    ] = None,
    folder: Annotated[
        Path | None,
        typer.Option(help="Keep the room here, for other commands; a new or empty folder."),
    ] = None,
    history: Annotated[str, typer.Option(help="How much of the past to make first.")] = "14 d",
) -> None:
    """Run the whole invented room on one machine, until Ctrl-C."""
    try:
        from roewatch.service.demo import Demo, DemoOptions, fault_of  # noqa: PLC0415  # an extra
    except ImportError as missing:
        print(
            f"The demo needs its extra ({missing.name}): pip install 'roewatch[demo]'",
            file=sys.stderr,
        )
        raise typer.Exit(2) from None

    if scenario is not None:
        try:
            fault_of(scenario, 0)
        except ValueError as unknown:
            raise typer.BadParameter(str(unknown)) from None
    logging.basicConfig(
        level=logging.WARNING, format="%(levelname)-7s %(message)s", stream=sys.stderr
    )
    options = DemoOptions(
        speed=speed,
        scenario=scenario,
        seed=seed,
        port=port,
        folder=folder,
        history_ms=span_option(history),
    )
    began_s = time.monotonic()
    onlooker = _Onlooker(json=json)
    with Progress(
        "making the past",
        BarColumn(),
        TaskProgressColumn(),
        console=onlooker.talk,
        transient=True,
    ) as bar:
        task = bar.add_task("history", total=1.0)
        the_room = Demo(
            options,
            show=onlooker.show,
            heard=onlooker.heard,
            progress=lambda share: bar.update(task, completed=share),
        )

        def ready() -> None:
            bar.stop()
            onlooker.open(the_room.address)
            if seconds is not None:
                timer = threading.Timer(seconds, the_room.stop.set)
                timer.daemon = True
                timer.start()

        stop_on_signal(the_room.stop)
        the_room.run(ready)
    if json:
        summary = {"scenario": scenario, "speed": speed, **_counts(the_room), **onlooker.tally}
        summary["seconds"] = round(time.monotonic() - began_s, 1)
        print(jsonlib.dumps({"summary": summary}), flush=True)
    if folder is not None:
        called = sys.argv[0] if shutil.which("roewatch") is None else "roewatch"
        onlooker.talk.print(f"Kept. Try: {called} alarms history --room {folder / 'room.toml'}")
    if the_room.failed:
        print(f"The tanks fell silent: {the_room.failed}", file=sys.stderr)
        raise typer.Exit(2)


class _Onlooker:
    """Whoever watches the demo: alarm changes and notices as they come, once it is open."""

    def __init__(self, *, json: bool) -> None:
        self.talk = Console(stderr=True)
        self.tally = {"alarm_changes": 0, "notices": 0}
        self._json = json
        self._lock = threading.Lock()
        self._open = threading.Event()

    def open(self, address: str) -> None:
        """The past is made; from now on everything is news."""
        self._open.set()
        self.talk.print(f"The Boathouse is open: [bold]{address}[/bold]  (Ctrl-C ends it)")

    def show(self, notice: "Notice") -> None:
        """A notice reached its contact's only way, this terminal."""
        title = f"to {notice.contact}, {notice.way}: {notice.title}"
        with self._lock:
            self.tally["notices"] += 1
            self.talk.print(Panel(Text(notice.body), title=Text(title)))

    def heard(self, change: "AlarmChange") -> None:
        """An alarm changed."""
        from roewatch.alarms.line import alarm_line  # noqa: PLC0415

        if not self._open.is_set():
            return
        with self._lock:
            self.tally["alarm_changes"] += 1
            if self._json:
                print(jsonlib.dumps(alarm_line(change), ensure_ascii=False), flush=True)
            else:
                alarm = change.alarm
                self.talk.print(Text(f"{alarm.tank} {alarm.state}: {alarm.message}"))


def _counts(the_room: "Demo") -> dict[str, int]:
    daemon = the_room.daemon
    counts = daemon.parts.watch.counts if daemon and daemon.parts else None
    return {
        "published": the_room.readings_published,
        "kept": counts.kept if counts else 0,
        "refused": counts.refused if counts else 0,
    }
