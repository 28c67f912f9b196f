"""Lines: on which line of a TOML file each key stands, so that a fault can point at it.

The standard library's reader says what a file means and not where it says it. This scan runs
only over text that reader has already accepted, so it may be simple: it finds places, and
never judges.
"""

import contextlib
import re
import tomllib

KeyPath = tuple[str | int, ...]
"""A path of keys, with the index (from 0) wherever there is an array."""

_BARE_ENDS = frozenset(",]}#\n\r")
_QUOTES = ('"""', "'''", '"', "'")


def lines_of(text: str) -> dict[KeyPath, int]:
    """The line (from 1) of every key, table and array entry of `text`, by its path.

    text: TOML that `tomllib` reads without complaint; anything else gives paths without meaning,
    but always an answer.
    """
    scan = _Scan(text)
    with contextlib.suppress(RecursionError):  # nested past all sense; what was found counts
        scan.run()
    return scan.lines


def rows_of(text: str) -> list[str]:
    """The lines of TOML with their ends: a line feed ends one, and nothing else does."""
    return re.findall(r"[^\n]*\n|[^\n]+", text)


class _Scan:
    def __init__(self, text: str) -> None:
        self._text = text.replace("\r\n", "\n")
        self._at = 0
        self._counted_to = 0
        self._line = 1
        self._last_index: dict[KeyPath, int] = {}  # arrays of tables: the entry now open
        self.lines: dict[KeyPath, int] = {}

    def run(self) -> None:
        table: KeyPath = ()
        self._skip_blank()
        while self._at < len(self._text):
            if self._text.startswith("[[", self._at):
                table = self._header("[[")
            elif self._text.startswith("[", self._at):
                table = self._header("[")
            else:
                self._pair(table)
            self._skip_blank()

    def _here(self) -> int:
        self._line += self._text.count("\n", self._counted_to, self._at)
        self._counted_to = self._at
        return self._line

    def _mark(self, path: KeyPath) -> None:
        line = self._here()
        for depth in range(1, len(path) + 1):
            self.lines.setdefault(path[:depth], line)

    def _header(self, opening: str) -> KeyPath:
        self._at += len(opening)
        keys = self._keys("]")
        path: KeyPath = ()
        for depth, key in enumerate(keys, 1):
            path = (*path, key)
            if opening == "[[" and depth == len(keys):
                index = self._last_index.get(path, -1) + 1
                self._last_index[path] = index
                path = (*path, index)
            elif path in self._last_index:
                path = (*path, self._last_index[path])
        self._mark(path)
        if opening == "[":
            self.lines[path] = self._here()  # the header itself, not a key that named it earlier
        self._at += len(opening)
        return path

    def _pair(self, table: KeyPath) -> None:
        start = self._at
        path = (*table, *self._keys("="))
        self._mark(path)
        self._at += 1
        self._skip_spaces()
        self._value(path)
        if self._at == start:  # text the reader would have refused; go on all the same
            self._at += 1

    def _keys(self, end: str) -> tuple[str, ...]:
        """The dotted key from here up to `end`, which is left standing."""
        keys: list[str] = []
        while self._at < len(self._text) and self._text[self._at] not in (end, "\n"):
            char = self._text[self._at]
            if char in " \t.":
                self._at += 1
            elif char in "\"'":
                quoted = self._string()
                keys.append(_unquoted(quoted))
            else:
                begin = self._at
                while self._at < len(self._text) and self._text[self._at] not in f" \t.\n\"'{end}":
                    self._at += 1
                keys.append(self._text[begin : self._at])
        return tuple(keys)

    def _value(self, path: KeyPath) -> None:
        char = self._text[self._at : self._at + 1]
        if char and char in "\"'":
            self._string()
        elif char == "[":
            self._array(path)
        elif char == "{":
            self._inline_table(path)
        else:
            while self._at < len(self._text) and self._text[self._at] not in _BARE_ENDS:
                self._at += 1

    def _array(self, path: KeyPath) -> None:
        self._at += 1
        index = 0
        self._skip_blank()
        while self._at < len(self._text) and self._text[self._at] != "]":
            before = self._at
            self._mark((*path, index))
            self._value((*path, index))
            index += 1
            self._skip_blank(",")
            if self._at == before:
                self._at += 1
        self._at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._at += 1
        self._skip_blank()
        while self._at < len(self._text) and self._text[self._at] != "}":
            before = self._at
            inner = (*path, *self._keys("="))
            self._mark(inner)
            self._at += 1
            self._skip_blank()
            self._value(inner)
            self._skip_blank(",")
            if self._at == before:
                self._at += 1
        self._at += 1

    def _string(self) -> str:
        """The string that starts here, quotes included."""
        begin = self._at
        quote = next(q for q in _QUOTES if self._text.startswith(q, begin))
        at = begin + len(quote)
        while at < len(self._text) and not self._text.startswith(quote, at):
            at += 2 if quote[0] == '"' and self._text[at] == "\\" else 1
        at += len(quote)
        # up to two quotes may stand directly before the closing three
        while len(quote) == 3 and self._text.startswith(quote[0], at):
            at += 1
        self._at = min(at, len(self._text))
        return self._text[begin : self._at]

    def _skip_spaces(self) -> None:
        while self._text[self._at : self._at + 1] in (" ", "\t"):
            self._at += 1

    def _skip_blank(self, also: str = "") -> None:
        """Past spaces, line ends and comments."""
        while self._at < len(self._text):
            char = self._text[self._at]
            if char == "#":
                end = self._text.find("\n", self._at)
                self._at = len(self._text) if end < 0 else end
            elif char in " \t\n\r" or (also and char in also):
                self._at += 1
            else:
                return


def _unquoted(quoted: str) -> str:
    try:
        key = tomllib.loads(f"key = {quoted}")["key"]
    except tomllib.TOMLDecodeError:
        return quoted
    return str(key)
