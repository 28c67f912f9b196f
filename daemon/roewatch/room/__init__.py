"""The words of the fish room: tanks, probes, quantities, readings, stages, windows, species.

Every other package speaks these words. Nothing here does I/O or reads a clock.
Event time is `at_ms`: whole milliseconds since 1970-01-01T00:00:00Z, when the water was measured.
"""
