"""On which line of a TOML text each key stands, so that a complaint about a value can name its line.

The standard parser gives values without places. This scanner reads text that the parser has already accepted, so it
follows the grammar's shape and checks nothing.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from typing import Final

KeyPath = tuple[str | int, ...]
"""A place in a TOML document: keys, and indices (from 0) into arrays."""

_KEY: Final = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'|[^\s=.\]\"'#,{}\[]+")
_STRING: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}(?!")'
    r"|'''.*?'{3,5}(?!')"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'",
    re.DOTALL,
)
_SCALAR: Final = re.compile(r"[^,\]}#\n]+")
_SPACE: Final = re.compile(r"[ \t]*")
_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line (from 1) of every key and every array element that holds keys; the first one where several name it.

    `text` must be valid TOML.
    """
    return _Scanner(text.replace("\r\n", "\n")).scan()


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int:
    """The line of `path`, or of the nearest table around it; line 1 where nothing around it is written down."""
    known = (path[:size] for size in range(len(path), 0, -1) if path[:size] in lines)
    return next((lines[found] for found in known), 1)


class _Scanner:
    """A position in the text, and what has been found before it."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.line_ends = [place.start() for place in re.finditer("\n", text)]
        self.lines: dict[KeyPath, int] = {}
        self.array_sizes: dict[KeyPath, int] = {}

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip(_BLANK)
        while self.position < len(self.text):
            table = self._header() if self._peek() == "[" else self._pair(table)
            self._skip(_BLANK)
        return self.lines

    def _header(self) -> KeyPath:
        is_array = self.text.startswith("[[", self.position)
        line = self._line()
        self.position += 2 if is_array else 1
        keys = self._dotted_key()
        self.position += 2 if is_array else 1
        return self._open_table(keys, line, is_array=is_array)

    def _open_table(self, keys: list[str], line: int, *, is_array: bool) -> KeyPath:
        path: KeyPath = ()
        for key in keys[:-1]:
            path = self._step_into((*path, key), line)
        path = (*path, keys[-1])
        self._found(path, line)
        if not is_array:
            return path
        self.array_sizes[path] = self.array_sizes.get(path, 0) + 1
        return self._step_into(path, line)

    def _step_into(self, path: KeyPath, line: int) -> KeyPath:
        """The table at `path`: where it is an array of tables, its newest element."""
        self._found(path, line)
        size = self.array_sizes.get(path)
        if size is not None:
            path = (*path, size - 1)
            self._found(path, line)
        return path

    def _pair(self, table: KeyPath) -> KeyPath:
        line = self._line()
        path = table
        for key in self._dotted_key():
            path = (*path, key)
            self._found(path, line)
        self.position += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)
        return table

    def _dotted_key(self) -> list[str]:
        keys = []
        while True:
            self._skip(_SPACE)
            keys.append(_unquoted(self._take(_KEY)))
            self._skip(_SPACE)
            if self._peek() != ".":
                return keys
            self.position += 1

    def _value(self, path: KeyPath) -> None:
        opening = self._peek()
        if opening == "{":
            self._inline_table(path)
        elif opening == "[":
            self._array(path)
        elif opening in {'"', "'"}:
            self._skip(_STRING)
        else:
            self._skip(_SCALAR)

    def _inline_table(self, path: KeyPath) -> None:
        self._open_bracket()
        while self._peek() != "}":
            self._pair(path)
            self._after_element()
        self.position += 1

    def _array(self, path: KeyPath) -> None:
        self._open_bracket()
        index = 0
        while self._peek() != "]":
            self._found((*path, index), self._line())
            self._value((*path, index))
            self._after_element()
            index += 1
        self.position += 1

    def _open_bracket(self) -> None:
        self.position += 1
        self._skip(_BLANK)

    def _after_element(self) -> None:
        self._skip(_BLANK)
        if self._peek() == ",":
            self.position += 1
            self._skip(_BLANK)

    def _found(self, path: KeyPath, line: int) -> None:
        self.lines.setdefault(path, line)

    def _line(self) -> int:
        return bisect_left(self.line_ends, self.position) + 1

    def _peek(self) -> str:
        return self.text[self.position : self.position + 1]

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self.text, self.position)
        self.position = found.end() if found else self.position

    def _take(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.position)
        if found is None:
            raise ValueError(f"no key at line {self._line()}: the text is not valid TOML")
        self.position = found.end()
        return found.group()


def _unquoted(key: str) -> str:
    if key[0] in {'"', "'"}:
        return str(tomllib.loads(f"key = {key}")["key"])
    return key
