"""`roewatch contact`: the people, and whether they can be reached."""

import json as jsonlib
import os
import sys
import uuid
from typing import Annotated

import typer

from roewatch.service.cli.options import RoomFile, room_file
from roewatch.service.clock import WallClock

app = typer.Typer(help="The people to reach, and whether they can be.", no_args_is_help=True)


@app.callback()
def contact() -> None:
    """The people to reach, and whether they can be."""


@app.command("test")
def send_test(
    room: RoomFile = None,
    json: Annotated[bool, typer.Option("--json", help="Receipts as JSON lines.")] = False,
) -> None:
    """Send a test notice through each contact's every way, and print the receipts."""
    from roewatch.alarms.notice import About, Notice, Outcome  # noqa: PLC0415
    from roewatch.outbox.channel import Refused, TryLater, channel_of  # noqa: PLC0415
    from roewatch.room.kind import Priority  # noqa: PLC0415
    from roewatch.service.settings.load import load_setup  # noqa: PLC0415

    setup = load_setup(room_file(room), os.environ)
    now_ms = WallClock().now_ms()
    failed = False
    ways = {way.name: way for way in setup.ways}
    for person in setup.contacts:
        for way in person.ways:
            notice = Notice(
                id=f"test-{uuid.uuid4().hex[:12]}",
                contact=person.name,
                way=way,
                about=About.TEST,
                priority=Priority.LOW,
                alarms=(),
                title=f"{setup.room.name}: test, all is well",
                body="A test asked for by hand. If you read this, this way works. Nothing to do.",
                made_ms=now_ms,
                due_ms=now_ms,
            )
            outcome, reason = Outcome.TAKEN, ""
            try:
                channel_of(ways[way]).send(notice)
            except TryLater as later:
                outcome, reason = Outcome.TRY_LATER, str(later)
            except Refused as refused:
                outcome, reason = Outcome.REFUSED, str(refused)
            failed |= outcome is not Outcome.TAKEN
            receipt = {
                "contact": person.name,
                "way": way,
                "outcome": outcome.value,
                "reason": reason,
            }
            if json:
                print(jsonlib.dumps(receipt, ensure_ascii=False))
            else:
                print(
                    f"{person.name:<12} {way:<20} {outcome.value}{': ' if reason else ''}{reason}"
                )
    if failed:
        print("At least one way failed: an alarm sent by it would not arrive.", file=sys.stderr)
        raise typer.Exit(1)
