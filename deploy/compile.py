"""Compile the judging of an installed Roewatch: python deploy/compile.py FOLDER

FOLDER is where the package `roewatch` lies, most often a site-packages. It does the same without,
at half the readings a second: that is felt where months are replayed, or probes are counted by the
thousand. Needs mypy and setuptools in the Python it is run by, that Python to be of the version the
program runs by, a C compiler and Python's headers (`gcc python3-dev`).
"""

import os
import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from mypyc.build import mypycify
from setuptools import setup

# What every reading, minute and five minutes of a probe pass through. The rest is left as it is: it
# would take twice as long to build, and the wait for memory leaves little of it to be won.
MODULES = (
    "testimony", "witness", "median", "liveliness", "keeping", "post", "jump", "honesty", "rate",
    "bounds", "hands", "heat", "cycle", "thermostat", "slope", "wear", "outlook", "acidity",
)  # fmt: skip


def compile_into(folder: Path) -> list[Path]:
    """Build MODULES beside their sources in `folder`; the files made. Exits if that fails."""
    with TemporaryDirectory() as scratch:
        work = Path(scratch)
        shutil.copytree(folder / "roewatch", work / "roewatch")
        os.chdir(work)
        sources = [f"roewatch/judging/{module}.py" for module in MODULES]
        extensions = mypycify(["--strict", *sources], opt_level="3")
        setup(
            name="roewatch", packages=[], ext_modules=extensions,
            script_args=["-q", "build_ext", "--inplace"],
        )  # fmt: skip
        built = [path.relative_to(work) for path in work.rglob("*.so")]
        made = [path for path in built if path.parts[0] != "build"]
        for path in made:
            shutil.copy2(work / path, folder / path)
        os.chdir(folder)
    return [folder / path for path in made]


def main() -> None:
    if len(sys.argv) != 2 or not (Path(sys.argv[1]) / "roewatch" / "judging").is_dir():
        sys.exit("usage: compile.py FOLDER, the folder that the package `roewatch` lies in")
    made = compile_into(Path(sys.argv[1]).resolve())
    print(f"{len(MODULES)} modules compiled, {sum(path.stat().st_size for path in made):,} bytes")


if __name__ == "__main__":
    main()
