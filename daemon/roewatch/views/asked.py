"""What was asked for and cannot be had: faults whose text is for the person at the page."""


class AskedWrongError(ValueError):
    """An address or a form that says something impossible."""


class NotHereError(LookupError):
    """A tank, quantity or page that this room does not have."""
