"""A column: many numbers of one kind, squeezed small and quick to open again.

What probes send is nearly regular: a moment every few seconds, a value that moves by a step or
two. So a column is held as what is left after the regular part is taken away (three ways are
tried, the shortest wins), divided by the common step, cut into byte planes and deflated. Numbers
that are not whole are held as they are, or as a list of the few there are. Opening is a handful
of calls that run at the speed of C; there is no loop over readings in Python.
"""

import math
import struct
import zlib
from array import array
from collections.abc import Iterable, Sequence
from itertools import accumulate
from operator import add, sub
from statistics import median_low

_HEAD = struct.Struct("<BBqqqI")  # shape, item size, base, step, start, bytes that follow
_STORED = 0x80  # marked on the shape: not deflated
_LEVEL, _DELTA, _GRID, _REAL, _LISTED = range(5)
_CODES = {1: "B", 2: "H", 4: "I", 8: "Q"}
_WORTH = 64  # bytes under which deflating costs more time than it saves room

Numbers = Sequence[int] | Sequence[float]


def column(numbers: Numbers) -> bytes:
    """`numbers` squeezed; `numbers_of` needs their count to open it. Whole ones fit 63 bits."""
    if not numbers:
        return b""
    if any(type(number) is float for number in numbers):
        return min(_real(numbers), _listed(numbers), key=len)
    whole: Sequence[int] = numbers  # type: ignore[assignment]
    ways = [_whole(_LEVEL, whole)]
    if len(whole) > 2:
        deltas = list(map(sub, whole[1:], whole))
        ways.append(_whole(_DELTA, deltas, start=whole[0]))
        # a probe's spacing is a round number of its clock; the median alone is off by its noise,
        # and a grid that is off by one has drifted by many seconds at the end of the day
        step = round(median_low(deltas), -2)
        if step:
            grid = range(whole[0], whole[0] + step * len(whole), step)
            ways.append(_whole(_GRID, list(map(sub, whole, grid)), start=whole[0], step=step))
    return min(ways, key=len)


def _real(numbers: Numbers) -> bytes:
    return _shaped(_REAL, array("d", numbers).tobytes(), 8)


def _listed(numbers: Numbers) -> bytes:
    """The few different numbers there are, and which of them each is.

    A sensor with steps gives few, also after its unit was converted: 76.1 °F is 24.5 °C only to
    fifteen digits, yet it comes again and again.
    """
    different = sorted(set(numbers))
    if len(different) * 4 > len(numbers):
        return _real(numbers)
    place = {number: nth for nth, number in enumerate(different)}
    which = column([place[number] for number in numbers])
    content = struct.pack("<I", len(different)) + array("d", different).tobytes() + which
    return _HEAD.pack(_LISTED, 8, 0, 0, 0, len(content)) + content


def _whole(shape: int, left: Sequence[int], *, start: int = 0, step: int = 0) -> bytes:
    base = min(left)
    above = [number - base for number in left]
    if shape != _GRID:  # a grid's step is its own; what is left of it is noise without a step
        step = math.gcd(*above) or 1
        above = [number // step for number in above]
    highest = max(above)
    size = next((size for size in _CODES if highest < 256**size), 0)
    if not size:
        raise OverflowError(f"a column cannot span {highest}")
    content = array(_CODES[size], above).tobytes() if highest else b""
    return _shaped(shape, content, size, base=base, step=step, start=start)


def _shaped(
    shape: int, content: bytes, size: int, *, base: int = 0, step: int = 0, start: int = 0
) -> bytes:
    if len(content) < _WORTH:
        shape |= _STORED
    else:
        content = _deflated(b"".join(content[plane::size] for plane in range(size)))
    return _HEAD.pack(shape, size, base, step, start, len(content)) + content


def _deflated(content: bytes) -> bytes:
    def way(strategy: int) -> bytes:
        deflater = zlib.compressobj(6, zlib.DEFLATED, -15, 8, strategy)
        return deflater.compress(content) + deflater.flush()

    # pure noise is shorter without a search for repeats; both open the same way
    return min(way(zlib.Z_DEFAULT_STRATEGY), way(zlib.Z_HUFFMAN_ONLY), key=len)


def skipped(packed: bytes, at: int, n: int) -> int:
    """Where the next column begins, without opening this one."""
    return at + _HEAD.size + _HEAD.unpack_from(packed, at)[5] if n else at


def numbers_of(packed: bytes, at: int, n: int) -> tuple[Numbers, int]:
    """The `n` numbers of the column at offset `at`, and where the next column begins."""
    if n == 0:
        return [], at
    shape, size, base, step, start, length = _HEAD.unpack_from(packed, at)
    content = packed[at + _HEAD.size : at + _HEAD.size + length]
    end = at + _HEAD.size + length
    kind = shape & ~_STORED
    if kind == _LISTED:
        (different,) = struct.unpack_from("<I", content)
        listed = array("d", content[4 : 4 + 8 * different])
        which, _ = numbers_of(content, 4 + 8 * different, n)
        return list(map(listed.__getitem__, which)), end  # type: ignore[arg-type]
    items = n - 1 if kind == _DELTA else n
    if length == 0 and kind == _LEVEL:
        return [base] * items, end
    if length == 0 and kind == _GRID:  # a perfect one, as of minutes that all have readings
        return range(start + base, start + base + n * step, step), end
    if length == 0:
        left: Sequence[int] = bytes(items)
    else:
        if not shape & _STORED:
            planes = zlib.decompress(content, -15, items * size)
            whole = bytearray(items * size)
            for plane in range(size):
                whole[plane::size] = planes[plane * items : (plane + 1) * items]
            content = bytes(whole)
        if kind == _REAL:
            return array("d", content), end
        left = array(_CODES[size], content)
    return _opened(kind, left, base, step, start), end


def _opened(kind: int, left: Sequence[int], base: int, step: int, start: int) -> Sequence[int]:
    if kind == _GRID:
        first = start + base
        return list(map(add, left, range(first, first + step * len(left), step)))
    numbers: Iterable[int] = left
    if (base, step) != (0, 1):
        # a look-up beats arithmetic on thousands of numbers, and bytes have only so many values
        scaled = range(base, base + 256 * step, step)
        small = isinstance(left, array) and left.itemsize == 1
        numbers = map(scaled.__getitem__, left) if small else [base + step * n for n in left]
    if kind == _DELTA:
        return list(accumulate(numbers, initial=start))
    return numbers if isinstance(numbers, Sequence) else list(numbers)
