"""Storage: the room's one file; readings, alarms, notices and all that must outlive a crash."""
