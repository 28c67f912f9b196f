"""How quick and how true the water bench is: `.venv/bin/python -m tests.bench.water`.

Prints the time of one blend, one inverse blend and one ramp, what importing `roewatch.water`
pulls in, the worst and the 95 % difference from PHREEQC, and ten worked cases as the command
line answers them. Nothing is judged here: the tests do that.
"""

import json
import random
import subprocess
import sys
import time
from collections.abc import Callable

import phreeqpython
from tests.water import test_against_phreeqc as beside

from roewatch.breeding.pace import Followed, paces
from roewatch.breeding.ramp import RampWish, draw
from roewatch.room.stage import Stage
from roewatch.room.window import Window
from roewatch.water import blend, recipe
from roewatch.water.recipe import Wanted
from roewatch.water.source import SourceWater

WELL = SourceWater(name="well", ph=7.8, alkalinity=3.0, dgh=8.4, celsius=10.0, conductivity=340.0)
RAIN = SourceWater(name="roof rain", alkalinity=0.01, dgh=0.1, celsius=12.0, conductivity=10.0)
RO = SourceWater(name="RO", ph=5.9, alkalinity=0.04, dgh=0.1, celsius=20.0, conductivity=9.0)
HARD = SourceWater(
    name="second well", ph=7.2, alkalinity=5.0, dgh=16.0, celsius=10.0, conductivity=620.0
)

CASES = [
    ["blend", "well litres=10 ph=7.8 kh=8.4 gh=8.4 us=340 t=10",
     "roof rain litres=40 kh=0.05 gh=0.1 us=10 t=12", "--t", "26"],
    ["blend", "well ph=7.8 kh=8.4 gh=8.4 us=340 t=10", "RO ph=5.9 kh=0.1 gh=0.1 us=9 t=20",
     "--want", "gh=2 us=85", "--litres", "60", "--t", "26"],
    ["blend", "well ph=7.8 kh=8.4 gh=8.4 us=340 t=10", "RO ph=5.9 kh=0.1 gh=0.1 us=9 t=20",
     "--want", "ph=6.0 gh=2", "--litres", "60", "--t", "26"],
    ["acid", "vat litres=60 kh=1 gh=2 us=80 ph=7.5 t=25", "--ph", "7.0"],
    ["acid", "vat litres=60 kh=1 gh=2 us=80 ph=7.5 t=25", "--ph", "6.0"],
    ["titrate", "--step", "0:7.2", "--step", "2:6.9", "--step", "4:6.65", "--step", "6:6.42",
     "--step", "8:6.2", "--step", "10:5.95", "--ph", "6.3", "--litres", "54"],
    ["ramp", "A1 litres=54 ph=7.4 kh=0.98 gh=3 us=120 t=24", "--recipe",
     "roof rain litres=60 kh=0.015 gh=0.1 us=10 t=15", "--target", "ph=5.9..6.2", "--t", "27",
     "--days", "14", "--heater", "50", "--from", "2026-03-01T16:00:00Z"],
    ["ammonia", "--total", "0.8", "--as", "NH4", "--ph", "6.1", "--t", "26", "--ph-after", "7.6",
     "--stage", "conditioning"],
    ["dioxide", "--ph", "5.8", "--kh", "0.5", "--t", "25"],
    ["drip", "--bag", "A1 litres=4 ph=6.8 kh=0.42 gh=1 us=50 t=27", "--tank",
     "B1 ph=7.1 kh=1.1 gh=3 us=150 t=25"],
]  # fmt: skip


def _ms(work: Callable[[], object], rounds: int) -> tuple[float, float]:
    """(median, worst) of `rounds` runs, ms."""
    taken = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        taken.append((time.perf_counter() - began) * 1000.0)
    taken.sort()
    return taken[len(taken) // 2], taken[-1]


def _speed() -> None:
    parts = [(10.0, WELL), (40.0, RAIN), (20.0, RO), (2.0, HARD)]
    sources = (WELL, RAIN, RO, HARD)
    pot = SourceWater(name="A1", ph=7.4, alkalinity=0.35, dgh=3.0, celsius=24.0, conductivity=120.0)
    asked = RampWish(
        tank="A1",
        litres=54.0,
        now=pot,
        recipe=RAIN.makeup,
        targets={Followed.PH: Window(low=6.2, high=6.5)},
        celsius=27.0,
        paces=paces(Stage.CONDITIONING),
        first_ms=0,
        days=21,
    )
    work: dict[str, tuple[Callable[[], object], int]] = {
        "blend of four, closed and aired": (lambda: blend.pour(parts, celsius=26.0), 300),
        "its ranges": (lambda: blend.ranges(parts, celsius=26.0), 20),
        "inverse, hardness and conductivity": (
            lambda: recipe.find(sources, Wanted(dgh=2, conductivity=85), litres=60, celsius=26), 30,
        ),
        "inverse, aired pH": (
            lambda: recipe.find(sources, Wanted(ph=7.6, dgh=2), litres=60, celsius=26), 30,
        ),
        "inverse, out of reach": (
            lambda: recipe.find(sources, Wanted(ph=5, dgh=2, conductivity=400), litres=60), 30,
        ),
        "ramp of 21 days": (lambda: draw(asked), 3),
    }  # fmt: skip
    for name, (does, rounds) in work.items():
        median, worst = _ms(does, rounds)
        print(f"{name:36} {median:8.2f} ms, worst {worst:8.2f} of {rounds}")


def _import() -> None:
    code = (
        "import sys,time,json,pkgutil;b=time.perf_counter();import roewatch.water as w\n"
        "for m in pkgutil.iter_modules(w.__path__): __import__('roewatch.water.'+m.name)\n"
        "print(json.dumps([(time.perf_counter()-b)*1000,[m for m in "
        "('scipy','numpy','matplotlib','phreeqpython') if m in sys.modules]]))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    took, heavy = json.loads(done.stdout)
    print(
        f"{'import of all of roewatch.water':36} {took:8.2f} ms, heavy modules: {heavy or 'none'}"
    )


def _truth() -> None:
    reference = phreeqpython.PhreeqPython(database="phreeqc.dat")
    rng = random.Random(20_260_301)
    found = [
        beside._compared(twin.ours, twin.theirs, rng.uniform(380.0, 2500.0))
        for twin in beside._blends(reference, rng, beside.BLENDS)
    ]
    for kind in ("closed", "aired"):
        off = sorted(abs(getattr(one, kind)) for one in found)
        print(
            f"{kind + ' pH beside PHREEQC':36} {len(off)} waters, 95 % within "
            f"{off[int(0.95 * len(off))]:.5f}, worst {off[-1]:.5f}"
        )


def _cases() -> None:
    for words in CASES:
        print("\n$ roewatch water " + " ".join(f'"{w}"' if " " in w else w for w in words))
        done = subprocess.run(
            [sys.executable, "-m", "roewatch.service.cli", "water", *words],
            check=False,
            capture_output=True,
            text=True,
        )
        print(done.stdout + done.stderr + f"[exit status {done.returncode}]")


if __name__ == "__main__":
    _speed()
    _import()
    _truth()
    _cases()
