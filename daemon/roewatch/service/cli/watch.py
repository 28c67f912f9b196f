"""`roewatch watch`: the daemon."""

import logging
import os
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from roewatch.service.cli.options import RoomFile, room_file, stop_on_signal
from roewatch.service.clock import WallClock

if TYPE_CHECKING:
    from roewatch.service.at_hand import AtHand
    from roewatch.service.settings.setup import Setup


def watch(
    room: RoomFile = None,
    verbose: Annotated[bool, typer.Option("--verbose", help="Log what changes in detail.")] = False,
) -> None:
    """Run the daemon until it is told to stop (SIGTERM, Ctrl-C)."""
    from roewatch.service.at_hand import at_hand  # noqa: PLC0415  # heavy; only the daemon wants it
    from roewatch.service.settings.load import load_setup  # noqa: PLC0415

    logging.basicConfig(
        level=logging.DEBUG if verbose else logging.INFO,
        format="%(levelname)-7s %(message)s",
        stream=sys.stderr,
    )
    setup, clock = load_setup(room_file(room), os.environ), WallClock()
    with at_hand(setup, clock) as hand:
        _run(setup, clock, hand)


def _run(setup: "Setup", clock: WallClock, hand: "AtHand") -> None:
    # loaded while the broker already answers
    from roewatch.outbox.channel import channel_of  # noqa: PLC0415
    from roewatch.service.collecting import collect_seldom  # noqa: PLC0415
    from roewatch.service.daemon import Daemon  # noqa: PLC0415
    from roewatch.service.port import is_free  # noqa: PLC0415

    channels = {way.name: channel_of(way) for way in setup.ways}
    daemon = Daemon(setup, channels, clock=clock, hand=hand)

    collect_seldom(len(setup.room.probes))
    stop_on_signal(daemon.stop)
    log = logging.getLogger("roewatch")
    address = f"http://{setup.web.host}:{setup.web.port}/"
    if not is_free(setup.web.port, setup.web.host):
        # the fish come first: a room without pages is still watched, and its people still told
        log.error(
            "pages_not_served address=%s why=%r",
            address,
            "another program has this port, or this machine has no such address; "
            "mend [web] host and port, then start again",
        )
    daemon.run(lambda _: log.info("watching room=%s pages=%s", setup.room.id, address))
    log.info("stopped room=%s", setup.room.id)
