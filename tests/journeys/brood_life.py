"""A brood's life in simulated water, kept by an invented keeper who only types commands.

The tank is the simulator's, with its thermostat and the room's nights; the eggs follow a rule of
their own, written here and summed over the true water, which no probe and no clock of the program
sees. Daemon, judge, alarm book, store and control socket are the real ones, on a clock moved by
hand; every act of the keeper's is a `roewatch` command.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.service.by_hand import HandClock, House, Phone
from typer.testing import CliRunner

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, at_ms_of_iso, iso
from roewatch.room.quantity import Quantity
from roewatch.service.brood_errands import brood_errands
from roewatch.service.broods import Broods
from roewatch.service.cli import app
from roewatch.service.control import Control
from roewatch.service.control_errands import errands_of
from roewatch.service.live import RoomRecords
from roewatch.service.settings.load import load_setup
from roewatch_sim.fault import FaultKind, SimFault
from roewatch_sim.heat import HeatSpec
from roewatch_sim.room import SimRoom
from roewatch_sim.tank import TankSpec
from roewatch_sim.water import WaterSpec

TANK = "A1"
SPECIES = "paracheirodon-innesi"
MORNING = at_ms_of_iso("2026-03-02T06:00:00Z")  # 08:00 in Tallinn

# [NEO-T] through 39 h at 18 °C and 25 h at 26 °C: no development at 3.71 °C, 557 °C·h to the hatch;
# and [NEO-A] 120 h from there to free-swimming at 24 °C. This clutch is its own: late by 3 % and
# early by 6 %, as no sheet can know.
ZERO = 3.71
TO_HATCH = 557 * 1.03
TO_SWIM = 120 * (24 - ZERO) * 0.94

_ROOM = """
[room]
name = "The Boathouse"
id = "boathouse"
timezone = "Europe/Tallinn"
[broker]
port = 1
[telling]
high_wait = "0.001 s"
group_wait = "0.001 s"
well_at = "never"
digest_at = "never"
[[contact]]
name = "Keeper"
[[contact.ways]]
name = "phone"
url = "http://127.0.0.1:1/keeper"
[[tank]]
id = "A1"
litres = 20
heater_watts = 50
species = "paracheirodon-innesi"
stage = "holding"
[[probe]]
tank = "A1"
quantity = "temperature"
topic = "house/A1"
every = "{every} s"
format = "json"
pointer = "/v"
time_pointer = "/t"
"""


@dataclass(frozen=True, slots=True)
class Look:
    """What a clock said at one moment of a leg."""

    at_ms: int
    leg: str
    from_ms: int
    likely_ms: int
    to_ms: int

    @property
    def width_h(self) -> float:
        """Hours from the first to the last."""
        return (self.to_ms - self.from_ms) / HOUR_MS


@dataclass(slots=True)
class Told:
    """Everything that came of a life, for the test to look at."""

    looks: list[Look] = field(default_factory=list)
    truth: dict[str, int] = field(default_factory=dict)
    asked: list[tuple[int, str]] = field(default_factory=list)
    done: list[tuple[int, str]] = field(default_factory=list)
    late: list[tuple[int, str, float]] = field(default_factory=list)
    proposed: list[tuple[int, str]] = field(default_factory=list)
    moved: list[tuple[int, str]] = field(default_factory=list)
    stages: list[tuple[int, str]] = field(default_factory=list)
    alarms: list[tuple[int, str, str]] = field(default_factory=list)
    commands: int = 0
    rounds: int = 0


class BroodLife:
    """One tank and its keeper. `live` moves time; `says` types a command."""

    def __init__(self, folder: Path, *, step_ms: int = 10 * MINUTE_MS) -> None:
        self.step_ms = step_ms
        file = folder / "room.toml"
        file.write_text(_ROOM.format(every=step_ms // SECOND_MS), encoding="utf-8")
        self.file = file
        self.told = Told()
        self._runner = CliRunner()
        self._stack = ExitStack()
        clock = HandClock(MORNING)
        self.house = House(load_setup(file, {}), clock, Phone())
        self._stack.callback(self.house.close)
        records = RoomRecords(self.house.setup.storage.path, self.house.setup.room)
        self._stack.callback(records.close)
        watch = self.house.watch
        book = Broods(
            records,
            lambda: watch.room,
            lambda: self.house.setup.species,
            write=watch.record,
            remember=watch.remember,
        )
        errands = errands_of(watch, clock, lambda: True) | brood_errands(watch, book, clock)
        self._stack.enter_context(Control(self.house.setup.storage.path, errands))
        spec = TankSpec(
            id=TANK,
            heat=HeatSpec(litres=20, heater_watts=50, loss_w_per_k=2.83),
            water=WaterSpec(ph=6.0, conductivity=50),
            set_c=22.0,
            quantities=(Quantity.TEMPERATURE,),
        )
        self.sim = SimRoom([spec], seed=7, start_ms=MORNING, every_ms=step_ms)
        self._gathered: float | None = None
        self._leg = ""

    def close(self) -> None:
        """Put everything away."""
        self._stack.close()

    @property
    def now_ms(self) -> int:
        """The simulated moment."""
        return self.house.clock.now_ms()

    # -- time -------------------------------------------------------------------------------

    def live(self, span_ms: int, *, until: Callable[[], bool] = lambda: False) -> bool:
        """Time passes, in steps; returns whether `until` came true."""
        end_ms = self.now_ms + span_ms
        while self.now_ms < end_ms:
            self._step()
            if until():
                return True
        return False

    def _step(self) -> None:
        clock, house = self.house.clock, self.house
        clock.pass_by(self.step_ms)
        for sample in self.sim.run(clock.now_ms()):
            if sample.tank == TANK:
                said = {"t": iso(sample.at_ms), "v": sample.value}
                house.ear.says(f"house/{TANK}", json.dumps(said).encode())
        house.watch.tick()
        house.round()
        self.told.rounds += 1
        self._develop()

    def _develop(self) -> None:
        """The eggs' own rule: °C·h of the true water above the standstill."""
        if self._gathered is None:
            return
        warmth = max(self.sim.truth(TANK).celsius - ZERO, 0.0)
        self._gathered += warmth * self.step_ms / HOUR_MS
        need = TO_HATCH if self._leg == "hatch" else TO_SWIM
        if self._gathered >= need:
            self.told.truth[self._leg] = self.now_ms
            self._leg = "free-swimming" if self._leg == "hatch" else ""
            self._gathered = 0.0 if self._leg else None

    def lays(self) -> None:
        """Eggs are laid now."""
        self.told.truth["spawned"] = self.now_ms
        self._gathered, self._leg = 0.0, "hatch"

    def warms_to(self, celsius: float) -> None:
        """The keeper turns the thermostat."""
        self.sim.tanks[TANK].heat.set_c = celsius

    def fails(self, kind: FaultKind, hours: float) -> None:
        """Something breaks now, for so long."""
        self.sim.inject(SimFault(kind, TANK, self.now_ms, self.now_ms + round(hours * HOUR_MS)))

    # -- the keeper -------------------------------------------------------------------------

    def says(self, *words: str, may_fail: bool = False) -> str:
        """Type `roewatch brood …`; returns what it printed."""
        return self.types("brood", *words, may_fail=may_fail)

    def alarms(self) -> list[dict[str, Any]]:
        """Every alarm there was, as `roewatch alarms history` tells it."""
        told = self.types("alarms", "history", "--last", "3000d", "--json")
        return [json.loads(line) for line in told.splitlines()]

    def hears_alarms(self) -> None:
        """Note each alarm that was raised since the last look, with the stage it rang in."""
        stage = self.house.watch.room.tank(TANK).stage
        known = {(at_ms, words.partition(":")[0]) for at_ms, _, words in self.told.alarms}
        for alarm in self.alarms():
            at_ms, name = at_ms_of_iso(alarm["time"]), f"{alarm['priority']} {alarm['alarm']}"
            if (at_ms, name) not in known:
                self.told.alarms.append((at_ms, stage.value, f"{name}: {alarm['message']}"))

    def types(self, *words: str, may_fail: bool = False) -> str:
        """Type a `roewatch` command; returns what it printed."""
        out: list[Any] = []

        def typed() -> None:
            out.append(self._runner.invoke(app, [*words, "--room", str(self.file)]))

        raised = self.house.from_elsewhere(typed)
        assert raised is None, raised
        result = out[0]
        self.told.commands += 1
        assert may_fail or result.exit_code == 0, (words, result.output, result.exception)
        return str(result.stdout)

    def sees(self, *words: str) -> list[dict[str, Any]]:
        """The same, read as JSON; a late to-do's exit status is no failure."""
        told = self.says(*words, "--json", may_fail=words[0] == "todo")
        return [json.loads(line) for line in told.splitlines()]

    def looks(self) -> dict[str, Any]:
        """`brood show`: note what the clocks say."""
        (seen,) = self.sees("show", TANK)
        for leg in ("hatch", "free-swimming"):
            window = seen["forecast"][leg]
            if "from" in window and not window["happened"] and seen["spawned"]:
                ends = (at_ms_of_iso(window[end]) for end in ("from", "likely", "to"))
                self.told.looks.append(Look(self.now_ms, leg, *ends))
        if seen["proposal"]:
            self._note(self.told.proposed, seen["proposal"]["stage"])
        for line in seen["moved"]:
            self._note(self.told.moved, line)
        self._note(self.told.stages, seen["stage"])
        return dict(seen)

    def _note(self, where: list[tuple[int, str]], what: str) -> None:
        if not where or what not in {said for _, said in where}:
            where.append((self.now_ms, what))

    def does_todos(self, *, but: frozenset[str] = frozenset()) -> None:
        """Do what is due, each by its own command, in the order in which it is asked."""
        for todo in self.sees("todo", TANK, "--days", "0"):
            task, key = todo["task"], todo["key"].partition("/")[2]
            self._note(self.told.asked, key)
            if todo["late_h"] > 0:
                self.told.late.append((self.now_ms, key, todo["late_h"]))
            if todo["flag"] or task in but or at_ms_of_iso(todo["due"]) > self.now_ms:
                continue
            if self._does(task, key):
                self.told.done.append((self.now_ms, key))

    def _does(self, task: str, key: str) -> bool:
        truth = self.told.truth
        if task == "look-now":
            self.says("done", TANK, key)
        elif task == "parents-out":
            self.says("parents-out", TANK)
        elif task == "dark":
            self.says("dark", TANK)
        elif task == "light":
            self.says("light", TANK)
        elif task == "culture":
            self.says("culture", TANK, key.partition("/")[2])
        elif task == "white-eggs":
            self.says("count", TANK, "white", "6")
            self.says("done", TANK, key)
        elif task == "hatch" and "hatch" in truth:
            self.says("hatched", TANK, "80-90", "--at", iso(truth["hatch"]))
        elif task == "free-swimming" and "free-swimming" in truth:
            self.says("swimming", TANK, "about 75", "--at", iso(truth["free-swimming"]))
        elif task == "count":
            self.says("count", TANK, key.partition("/")[2], "60" if "14" in key else "52")
        elif task in {"food-ready", "move-up", "adults-back"}:
            self.says("done", TANK, key)
        else:
            return False
        return True


@contextmanager
def brood_life(folder: Path, *, step_ms: int = 10 * MINUTE_MS) -> Iterator[BroodLife]:
    """A life that has not begun."""
    life = BroodLife(folder, step_ms=step_ms)
    try:
        yield life
    finally:
        life.close()


def conditions_and_spawns(life: BroodLife, *, days: int) -> None:
    """From the start to the eggs: conditioned at 22 °C, warmed, and one dawn there are eggs."""
    life.says(
        "start", TANK, "--parents", "pair 3", "--water", "rain and peat", "--light", "07:00-21:00",
        "--food", "daphnia",
    )  # fmt: skip
    for _ in range(days):
        life.live(DAY_MS)
        life.looks()
    life.says("stage", TANK, "spawning")
    life.live(3 * HOUR_MS)
    life.hears_alarms()
    life.warms_to(24.6)
    life.live(20 * HOUR_MS)  # 07:00
    life.does_todos()
    life.live(HOUR_MS)
    life.lays()
    life.says("spawned", TANK, "about 120")
    # on the phone for two hours: nobody takes the parents out
    life.live(2 * HOUR_MS)
    life.looks()


def from_eggs(life: BroodLife, *, until_ms: int, look_every_ms: int) -> None:
    """The keeper looks as often as that, and does what is due until that moment."""
    while life.now_ms < until_ms:
        life.live(look_every_ms)
        life.looks()
        life.hears_alarms()
        life.does_todos()
