"""`roewatch demo`: the invented room on this machine."""

import json as jsonlib
import logging
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.panel import Panel
from rich.progress import BarColumn, Progress, TaskProgressColumn

from roewatch.service.cli.options import stop_on_signal

if TYPE_CHECKING:
    from roewatch.alarms.alarm import AlarmChange
    from roewatch.alarms.notice import Notice


def demo(
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
        int | None, typer.Option(help="Port of the pages; a free one without it.")
    ] = None,
    folder: Annotated[
        Path | None, typer.Option(help="Keep the demo's file here instead of throwing it away.")
    ] = None,
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
    from roewatch.alarms.line import alarm_line  # noqa: PLC0415

    if scenario is not None:
        try:
            fault_of(scenario, 0)
        except ValueError as unknown:
            raise typer.BadParameter(str(unknown)) from None
    logging.basicConfig(
        level=logging.WARNING, format="%(levelname)-7s %(message)s", stream=sys.stderr
    )
    talk = Console(stderr=True)
    lock = threading.Lock()
    tally = {"alarm_changes": 0, "notices": 0}

    def show(notice: "Notice") -> None:
        with lock:
            tally["notices"] += 1
            talk.print(
                Panel(notice.body, title=f"to {notice.contact}, {notice.way}: {notice.title}")
            )

    live = threading.Event()

    def heard(change: "AlarmChange") -> None:
        if not live.is_set():
            return
        with lock:
            tally["alarm_changes"] += 1
            if json:
                print(jsonlib.dumps(alarm_line(change), ensure_ascii=False), flush=True)
            else:
                talk.print(f"{change.alarm.tank} {change.alarm.state}: {change.alarm.message}")

    began_s = time.monotonic()
    with Progress(
        "two weeks of history", BarColumn(), TaskProgressColumn(), console=talk, transient=True
    ) as bar:
        task = bar.add_task("history", total=1.0)
        the_room = Demo(
            DemoOptions(speed=speed, scenario=scenario, seed=seed, port=port, folder=folder),
            show=show,
            heard=heard,
            progress=lambda share: bar.update(task, completed=share),
        )

        def ready() -> None:
            bar.stop()
            live.set()
            if seconds is not None:
                timer = threading.Timer(seconds, the_room.stop.set)
                timer.daemon = True
                timer.start()
            talk.print(f"The Boathouse is open: [bold]{the_room.address}[/bold]  (Ctrl-C ends it)")

        stop_on_signal(the_room.stop)
        the_room.run(ready)
    if json:
        daemon = the_room.daemon
        counts = daemon.parts.watch.counts if daemon and daemon.parts else None
        summary = {
            "scenario": scenario,
            "speed": speed,
            "published": the_room.readings_published,
            "kept": counts.kept if counts else 0,
            "refused": counts.refused if counts else 0,
            **tally,
            "seconds": round(time.monotonic() - began_s, 1),
        }
        print(jsonlib.dumps({"summary": summary}), flush=True)
