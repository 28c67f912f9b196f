"""The shipped configuration: the commented sample room and the species sheets that come along."""

from pathlib import Path

import roewatch


def shipped_config() -> Path:
    """The folder with `room.toml` and `species/`: inside the wheel, or in a source checkout."""
    package = Path(roewatch.__file__).resolve().parent
    installed = package / "shipped_config"
    return installed if installed.is_dir() else package.parent.parent / "config"
