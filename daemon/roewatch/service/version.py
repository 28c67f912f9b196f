"""The version of the program that runs."""

from importlib.metadata import PackageNotFoundError, version


def program_version() -> str:
    """As the package says it, or `unknown` for a checkout that was never installed."""
    try:
        return version("roewatch")
    except PackageNotFoundError:
        return "unknown"
