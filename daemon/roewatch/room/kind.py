"""An alarm kind: one closed list of what can be wrong; and a priority: what it asks of a person."""

from enum import StrEnum


class Kind(StrEnum):
    """Every condition that can be found. The text value is what scripts and topics read."""

    # the water
    BELOW_WINDOW = "below-window"
    ABOVE_WINDOW = "above-window"
    FALLING_TOO_FAST = "falling-too-fast"
    RISING_TOO_FAST = "rising-too-fast"
    PH_CRASH = "ph-crash"
    ACID_OVERDOSE = "acid-overdose"
    HARD_WATER = "hard-water"
    BAD_WATER_CHANGE = "bad-water-change"
    WATER_CHANGE = "water-change"
    # the equipment
    HEATER_DEAD = "heater-dead"
    HEATER_STUCK_ON = "heater-stuck-on"
    HEATER_WEAK = "heater-weak"
    HEATER_WORKS_HARDER = "heater-works-harder"
    THERMOSTAT_MOVED = "thermostat-moved"
    CYCLE_TOO_WIDE = "cycle-too-wide"
    LID_OPEN = "lid-open"
    AERATION_STOPPED = "aeration-stopped"
    # the brood
    PARENTS_NOT_OUT = "parents-not-out"
    # the room
    ROOM_HEATING_LOST = "room-heating-lost"
    POWER_CUT = "power-cut"
    ROOM_SILENT = "room-silent"
    # the probe
    TANK_SILENT = "tank-silent"
    PROBE_SILENT = "probe-silent"
    PROBE_PATCHY = "probe-patchy"
    PROBE_FAULT = "probe-fault"  # sensor error codes, impossible numbers
    PROBE_STUCK = "probe-stuck"
    PROBE_DRY = "probe-dry"
    PROBE_SWAPPED = "probe-swapped"
    PROBE_NOISY = "probe-noisy"
    PROBE_DRIFTING = "probe-drifting"
    PROBE_IN_BUFFER = "probe-in-buffer"
    PROBE_CLOCK = "probe-clock"
    PROBES_DISAGREE = "probes-disagree"
    # the program itself
    JUDGING_FAILED = "judging-failed"
    STORE_NEARLY_FULL = "store-nearly-full"
    STORE_DAMAGED = "store-damaged"
    NOTICE_UNDELIVERED = "notice-undelivered"
    TEST = "test"


class Priority(StrEnum):
    """What an alarm asks of a person: wake, today, note, or nothing."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"
    JOURNAL = "journal"

    @property
    def rank(self) -> int:
        """0 for high to 3 for journal, for sorting."""
        return _RANK[self]


_RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2, Priority.JOURNAL: 3}
