"""The running daemon as the pages see it."""

from pathlib import Path

from tests.service.by_hand import house

from roewatch.service.live import LiveRoom


def test_what_a_tank_has_taught_is_told_while_it_is_judged_and_nothing_of_one_that_is_gone(
    tmp_path: Path,
) -> None:
    with house(tmp_path) as at:
        at.lives(30)
        live = LiveRoom(at.watch, at.clock)
        learned = live.learned("A1")
        assert learned is not None
        assert (learned.tank, learned.duty) == ("A1", None), "half an hour teaches nothing yet"
        assert live.learned("Z9") is None
