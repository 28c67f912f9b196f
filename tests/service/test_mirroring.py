"""Mirroring: the mirror has its thread, its saved position, and holds nobody up."""

import threading
from dataclasses import replace
from pathlib import Path

from tests.service.by_hand import House, house

from roewatch.service.mirroring import Mirroring
from roewatch.service.settings.setup import Setup
from roewatch.storage.target import Pigeonhole, TargetDownError


class Elsewhere(Pigeonhole):
    """A store elsewhere, which may be down, or hang."""

    def __init__(self) -> None:
        super().__init__()
        self.down = False
        self.broken = 0
        self.hang = threading.Event()
        self.hang.set()

    def take(self, readings, events=()) -> None:  # type: ignore[no-untyped-def]
        self.hang.wait(30)
        if self.down:
            raise TargetDownError("nobody answers")
        if self.broken:
            self.broken -= 1
            raise ZeroDivisionError("a bug")
        super().take(readings, events)

    def there(self, at: House) -> int:
        (probe,) = at.setup.room.probes
        return len(self.read(probe, 0, 2**43).at_ms)


def mirroring(at: House, elsewhere: Elsewhere) -> Mirroring:
    mirror = at.setup.mirror.model_copy(update={"enabled": True, "every": 20, "overlap": 1})
    setup: Setup = replace(at.setup, mirror=mirror)
    return Mirroring(setup, at.watch.mirrored, lambda _: elsewhere, again_s=0.01)


def test_what_is_kept_is_shipped_and_the_position_is_saved(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        elsewhere = Elsewhere()
        at.lives(5)
        shipping = mirroring(at, elsewhere)
        shipping.start()
        at.rounds_until(lambda: elsewhere.there(at) == 5, "all is there")
        at.lives(3)
        at.rounds_until(lambda: elsewhere.there(at) == 8, "and what came after")
        at.rounds_until(lambda: _saved(at) == at.clock.now_ms(), "its position is saved")
        _stop(at, shipping)


def test_a_target_that_hangs_holds_nobody_up(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        elsewhere = Elsewhere()
        elsewhere.hang.clear()
        shipping = mirroring(at, elsewhere)
        shipping.start()
        at.lives(20)
        assert at.watch.counts.kept == 20
        elsewhere.hang.set()
        at.rounds_until(lambda: elsewhere.there(at) == 20, "it catches up")
        _stop(at, shipping)


def test_a_bug_in_shipping_does_not_end_it(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        elsewhere = Elsewhere()
        elsewhere.broken = 3
        at.lives(4)
        shipping = mirroring(at, elsewhere)
        shipping.start()
        at.rounds_until(lambda: elsewhere.there(at) == 4, "it was begun again")
        _stop(at, shipping)


def test_a_new_life_goes_on_where_the_last_was_sure(tmp_path: Path) -> None:
    with house(tmp_path) as at:
        first = Elsewhere()
        at.lives(5)
        shipping = mirroring(at, first)
        shipping.start()
        at.rounds_until(lambda: _saved(at) == at.clock.now_ms(), "its position is saved")
        _stop(at, shipping)
        clock = at.clock
    with house(tmp_path, clock=clock) as at:
        second = Elsewhere()
        at.lives(2)
        shipping = mirroring(at, second)
        shipping.start()
        at.rounds_until(lambda: second.there(at) == 2, "only what is new is shipped")
        _stop(at, shipping)


def _saved(at: House) -> int:
    found = at.store._db.execute("SELECT max(at) FROM mirrored WHERE key LIKE 'probe:%'").fetchone()
    return int(found[0] or 0)


def _stop(at: House, shipping: Mirroring) -> None:
    ending = threading.Thread(target=shipping.stop, args=(10,))
    ending.start()
    at.rounds_until(lambda: not ending.is_alive(), "it has ended")
