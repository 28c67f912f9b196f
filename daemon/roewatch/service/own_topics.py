"""Our own topics: where the daemon speaks, and the two on which it listens to itself."""

from typing import NamedTuple

OURS = "roewatch/"
"""What every topic of a daemon begins with."""


class OwnTopics(NamedTuple):
    """The topics of one room's daemon. pulse, test: what it publishes comes back to it there."""

    status: str
    pulse: str
    test: str
    alarms: str

    @staticmethod
    def of(room_id: str) -> "OwnTopics":
        """Those of the room of that id."""
        base = f"{OURS}{room_id}"
        return OwnTopics(f"{base}/status", f"{base}/pulse", f"{base}/test", f"{base}/alarm")

    @property
    def heard(self) -> tuple[str, ...]:
        """What the listener subscribes to besides the probes."""
        return (self.pulse, self.test)
