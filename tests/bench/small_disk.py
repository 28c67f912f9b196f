"""A small disk to fill: a folder on a file system of its own, with a ballast that can be freed."""

import argparse
import shutil
import sys
from pathlib import Path

BALLAST = 8_000_000


def small_disk(said: str, most: int) -> Path:
    """The folder named on the command line, with a file `ballast` of `BALLAST` bytes in it.

    said: what the bench is, for --help. most: bytes the file system may have; exits 2 on anything
    larger, because filling that would hurt somebody.
    """
    parser = argparse.ArgumentParser(
        description=said, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    folder: Path = parser.parse_args().folder
    if shutil.disk_usage(folder).total > most:
        print(f"{folder}: larger than {most:,} bytes; give a small file system", file=sys.stderr)
        sys.exit(2)
    (folder / "ballast").write_bytes(bytes(BALLAST))
    return folder
