"""Trouble with the store: what can go wrong with the file, each with what to do about it."""


class StoreError(Exception):
    """Something about the store's file stops the work; the text says what and how to mend it."""


class NewerStoreError(StoreError):
    """The file was written by a newer program; opening it could lose what it does not know."""


class DamagedStoreError(StoreError):
    """The file is not a sound store: `set_aside` it, start a new one, `salvage` the old one."""


class FullStoreError(StoreError):
    """The disk is full. Nothing of this transaction was kept; what was kept before is safe."""


class BusyStoreError(StoreError):
    """Another process writes to this file."""
