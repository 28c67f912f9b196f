"""`roewatch contact`: the people, and whether they can be reached."""

import sys
import uuid
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from roewatch.service.cli.options import Json, RoomFile, json_line, setup_of
from roewatch.service.clock import WallClock
from roewatch.service.control import ask

if TYPE_CHECKING:
    from roewatch.service.settings.load import Setup

PATH_WITHIN_S = 120.0

app = typer.Typer(help="The people to reach, and whether they can be.", no_args_is_help=True)


@app.callback()
def contact() -> None:
    """The people to reach, and whether they can be."""


@app.command("test")
def send_test(
    room: RoomFile = None,
    path: Annotated[
        bool,
        typer.Option(
            "--path", help="Through broker, daemon, store and sender, as an alarm would go."
        ),
    ] = False,
    json: Json = False,
) -> None:
    """Send a test notice through each contact's every way, and print the receipts.

    Exit status: 0 all were taken, 1 at least one was not, 2 could not run.
    """
    setup = setup_of(room)
    receipts = _by_the_daemon(setup) if path else _sent(setup)
    failed = False
    for receipt in receipts:
        failed |= receipt["outcome"] != "taken"
        if json:
            json_line(receipt)
        else:
            reason = f": {receipt['reason']}" if receipt["reason"] else ""
            print(f"{receipt['contact']:<12} {receipt['way']:<20} {receipt['outcome']}{reason}")
    if failed:
        print("At least one way failed: an alarm sent by it would not arrive.", file=sys.stderr)
        raise typer.Exit(1)


def _by_the_daemon(setup: "Setup") -> list[dict[str, str]]:
    receipts: list[dict[str, str]] = ask(setup.storage.path, "test-path", within_s=PATH_WITHIN_S)
    if not receipts:
        print("The test went the whole way, and no contact is told of tests.", file=sys.stderr)
    return receipts


def _sent(setup: "Setup") -> Iterator[dict[str, str]]:
    from roewatch.alarms.notice import About, Notice, Outcome  # noqa: PLC0415
    from roewatch.outbox.channel import Refused, TryLater, channel_of  # noqa: PLC0415
    from roewatch.room.kind import Priority  # noqa: PLC0415

    now_ms = WallClock().now_ms()
    for way in setup.ways:
        notice = Notice(
            id=f"test-{uuid.uuid4().hex[:12]}",
            contact=way.contact,
            way=way.name,
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
            channel_of(way).send(notice)
        except TryLater as later:
            outcome, reason = Outcome.TRY_LATER, str(later)
        except Refused as refused:
            outcome, reason = Outcome.REFUSED, str(refused)
        yield {
            "contact": way.contact,
            "way": way.name,
            "outcome": outcome.value,
            "reason": reason,
        }
