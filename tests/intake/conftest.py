"""The listener is tested against the same real broker as the journeys."""

from tests.journeys.conftest import broker

__all__ = ["broker"]
