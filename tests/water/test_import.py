"""The water bench must start at once on a small board."""

import subprocess
import sys

HEAVY = ("scipy", "numpy", "matplotlib", "pandas", "phreeqpython")


def test_the_whole_water_bench_imports_nothing_heavy() -> None:
    code = (
        "import pkgutil, sys, roewatch.water as water, roewatch.breeding.ramp\n"
        "for module in pkgutil.iter_modules(water.__path__):\n"
        "    __import__('roewatch.water.' + module.name)\n"
        f"print(*[name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60
    )
    assert done.stdout.strip() == ""
