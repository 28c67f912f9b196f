"""The room file in a keeper's hands: one change at a time, checked whole, written, taken over."""

import contextlib
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Lock
from typing import Protocol

from roewatch.service.settings.load import Setup, faults_of
from roewatch.service.settings.rewriting import put

Edit = Callable[[str], str | None]


class Settings(Protocol):
    """What goes by the room file: `service.reload`. Called, it reads the file anew."""

    setup: Setup

    def __call__(self) -> bool:
        """Whether what stands there now was taken over."""


class RoomFile:
    """From any thread. Every refusal is a ValueError with text for the person."""

    def __init__(self, reload: Settings, env: Mapping[str, str]) -> None:
        """env: what is laid over the room file when it is checked."""
        self._reload = reload
        self._env = env
        self.lock = Lock()

    @property
    def setup(self) -> Setup:
        """The settings the daemon goes by."""
        return self._reload.setup

    @property
    def path(self) -> Path:
        """Where it is; a link stays a link."""
        return self.setup.files[0].resolve()

    def change(self, edit: Edit) -> None:
        """Change it and judge by it; what would not hold together changes nothing.

        edit: returns None where the file is written in a way of its own.
        """
        with self.lock:
            file = self.path
            try:
                text = file.read_text(encoding="utf-8")
                tomllib.loads(text)
                written = edit(text)
            except (OSError, tomllib.TOMLDecodeError) as error:
                raise ValueError(f"{file.name} cannot be read: {error}") from error
            if written is None:
                raise ValueError(f"{file.name} is written in a way of its own; change it by hand")
            self._check(file, written)
            try:
                put(file, written)
            except OSError as error:
                raise ValueError(
                    f"{file} cannot be written ({error.strerror}); let the daemon's user write it"
                ) from error
            self.take_over()

    def _check(self, file: Path, text: str) -> None:
        trial = file.with_name(f".{file.name}.trial")
        try:
            trial.touch(mode=0o600)  # it may hold secrets, and lies there for a moment
            trial.write_text(text, encoding="utf-8")
            faults = faults_of(trial, self._env)
        except OSError as error:
            raise ValueError(
                f"{file.parent} cannot be written ({error.strerror}); let the daemon's user do so"
            ) from error
        finally:
            with contextlib.suppress(OSError):
                trial.unlink(missing_ok=True)
        if faults:
            told = "; ".join(f"{fault.key}: {fault.what}" for fault in faults[:3])
            raise ValueError(f"nothing was written, because {file.name} would not hold: {told}")

    def take_over(self) -> None:
        """Go by what stands in it now."""
        if not self._reload():
            raise ValueError("not taken over; the daemon's log says why")
