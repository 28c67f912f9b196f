"""What was asked for and cannot be had: faults whose text is for the person at the page."""

from collections.abc import Sequence


class AskedWrongError(ValueError):
    """An address or a form that says something impossible."""


class NotHereError(LookupError):
    """A tank, quantity or page that this room does not have."""


class SeveralError(NotHereError):
    """A name that more than one tank begins with. tanks: those, to choose from."""

    def __init__(self, wanted: str, tanks: Sequence[str]) -> None:
        super().__init__(f"More than one tank begins with {wanted!r}.")
        self.tanks = tanks
