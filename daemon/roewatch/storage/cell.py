"""A cell: one raw number as the hot table holds it, exact and small.

Probes send decimals (24.0625, 5.31). Those are held as whole ten-thousandths, which SQLite keeps
in one to four bytes instead of eight; a number that is not exactly such a decimal is held as the
float it is. The column has no type, so each cell tells which by its own.
"""

SCALE = 10_000
_WHOLE = 2**40  # a hundred million and more units; the sum of a day of less still fits 63 bits

RAW_SQL = f"(CASE typeof(raw) WHEN 'integer' THEN raw / {SCALE}.0 ELSE raw END)"
"""The raw number back again, for queries; the same division as `raw_of`, so the same bits."""


def cell_of(raw: float) -> int | float:
    """How `raw` is held. `raw_of(cell_of(raw)) == raw` for every finite number.

    Raises ValueError if `raw` is not a finite number: a probe cannot have said so.
    """
    try:
        scaled = round(raw * SCALE)
    except (ValueError, OverflowError):
        if raw - raw != 0:  # infinity or not a number; a huge finite one only overflows
            raise ValueError(f"{raw!r} is not a finite number; refuse it before storing") from None
        return float(raw)
    if scaled / SCALE == raw and -_WHOLE < scaled < _WHOLE:
        return scaled
    return float(raw)


def raw_of(cell: int | float) -> float:
    """The raw number a cell holds."""
    return cell / SCALE if type(cell) is int else float(cell)
