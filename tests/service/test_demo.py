"""The demo: the room it writes, and what it says when its tanks or its port are lost."""

import socket
from pathlib import Path
from typing import cast

import pytest

from roewatch.breeding.brood import broods_of
from roewatch.breeding.late import late
from roewatch.room.moment import DAY_MS, MINUTE_MS, at_ms_of_iso
from roewatch.room.stage import Stage
from roewatch.service.clock import LedClock
from roewatch.service.demo import Demo, DemoOptions, PortTakenError, pointed
from roewatch.service.demo_broods import broods_of_the_boathouse
from roewatch.service.port import free_port, is_free
from roewatch.service.settings.load import load_setup
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.watch import Watch
from roewatch_sim.boathouse import boathouse

SHIPPED = (shipped_config() / "room.toml").read_text(encoding="utf-8")


def demo(**options: object) -> Demo:
    return Demo(
        DemoOptions(**options),  # type: ignore[arg-type]
        show=lambda _: None,
        heard=lambda _: None,
        progress=lambda _: None,
    )


def test_the_shipped_room_is_pointed_at_the_demos_own_parts(tmp_path: Path) -> None:
    file = tmp_path / "room.toml"
    file.write_text(pointed(SHIPPED, 1901, 8501), encoding="utf-8")
    setup = load_setup(file, {})
    assert (setup.broker.port, setup.web.port) == (1901, 8501)
    assert setup.storage.path == tmp_path / "boathouse.db"
    assert len(setup.room.tanks) == 12


def test_a_shipped_room_without_those_lines_is_noticed() -> None:
    with pytest.raises(ValueError, match="has not one line '# port = 1883'"):
        pointed(SHIPPED.replace("# port = 1883", ""), 1901, 8501)


def test_tanks_that_lose_their_broker_end_the_demo_and_say_why() -> None:
    room = demo()
    tanks = boathouse(1, DAY_MS)
    room._publish(tanks, cast("Watch", None), LedClock(DAY_MS, 1.0, MINUTE_MS), free_port())
    assert room.stop.is_set()
    assert "Start a broker there" in room.failed


@pytest.mark.parametrize("now", ["2026-01-03T12:00:00Z", "2026-11-27T12:00:00Z"])
def test_the_demos_broods_are_under_way_in_tanks_the_room_has(now: str) -> None:
    setup = load_setup(shipped_config() / "room.toml", {})
    at_ms = at_ms_of_iso(now)
    broods = broods_of(broods_of_the_boathouse(at_ms, setup.room.zone))
    assert [(b.tank, b.stage, b.open) for b in broods] == [
        ("B3", Stage.FRY, True),
        ("A6", Stage.EGGS, True),
    ]
    assert len({brood.id for brood in broods}) == 2
    for brood in broods:
        assert brood.species == setup.room.tank(brood.tank).species
        assert late(brood, setup.species[brood.species], at_ms, zone=setup.room.zone) == ()


def test_a_port_of_another_program_is_refused(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert not is_free(port)
        with pytest.raises(PortTakenError, match="another program has this port"):
            demo(port=port)._setup(tmp_path, 1901)
    assert is_free(port)


def test_a_folder_with_a_room_in_it_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "room.toml").write_text("mine")
    with pytest.raises(FileExistsError, match="name an empty folder"):
        demo()._setup(tmp_path, 1901)
    assert (tmp_path / "room.toml").read_text() == "mine"
