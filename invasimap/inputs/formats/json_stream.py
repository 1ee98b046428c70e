"""JSON read member by member and item by item, so that the memory it takes is that of one item."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any, Final

_WINDOW: Final = 1 << 18
_SPACE: Final = re.compile(r"[ \t\r\n]*")
_GAP: Final = re.compile(r"[ \t\r\n,]*")
_LONGEST_NUMBER: Final = 400


class BrokenJsonError(ValueError):
    """The text is no whole JSON from here on."""


class DeepJsonError(ValueError):
    """Lists in lists without end."""


def _int(digits: str) -> int | str:
    return int(digits) if len(digits) <= _LONGEST_NUMBER else digits


class JsonStream:
    """A place in a JSON text that moves on value by value.

    Parameters
    ----------
    text
        The whole text.
    parts
        Brackets and commas that one value may hold; one with more is not read.

    Examples
    --------
    >>> stream = JsonStream('{"a": [1, 2], "b": 3}', parts=100)
    >>> [(key, stream.value()) for key in stream.members()]
    [('a', [1, 2]), ('b', 3)]
    """

    def __init__(self, text: str, *, parts: int) -> None:
        self._text, self._parts, self._at = text, parts, 0
        self._start, self._window = 0, ""
        self._decoder = json.JSONDecoder(parse_int=_int)

    def line(self) -> int:
        """Number of the line, from 1."""
        return self._text.count("\n", 0, self._at) + 1

    def skip(self, signs: str) -> None:
        """Pass over these signs and blanks."""
        while self.peek() and self.peek() in signs:
            self._at += 1

    def stop(self) -> None:
        """Go to the end."""
        self._at = len(self._text)

    def at_end(self) -> bool:
        """Whether nothing but blanks follows."""
        return not self.peek()

    def peek(self) -> str:
        """The next sign that is not blank; "" at the end."""
        found = _SPACE.match(self._text, self._at)
        self._at = found.end() if found else self._at
        return self._text[self._at : self._at + 1]

    def value(self) -> Any:
        """The next value, whole.

        Raises
        ------
        BrokenJsonError
            When it is no whole JSON, or holds too many parts.
        DeepJsonError
            When it is nested too deep.
        """
        self.peek()
        size = _WINDOW
        while True:
            if self._at + size > self._start + len(self._window) or self._at < self._start:
                self._start, self._window = self._at, self._text[self._at : self._at + max(size, 4 * _WINDOW)]
            to_end = self._start + len(self._window) >= len(self._text)
            try:
                found, end = self._decoder.raw_decode(self._window, self._at - self._start)
            except RecursionError as error:
                raise DeepJsonError("lists in lists without end") from error
            except ValueError as error:
                if to_end:
                    raise BrokenJsonError(str(error)) from error
            else:
                if end < len(self._window) or to_end:  # a number may go on beyond the window
                    self._at = self._start + end
                    return found
            size *= 4
            self._check(size)

    def _check(self, size: int) -> None:
        """Refuse a value of this many signs when it may hold too many parts; the window is already read."""
        text = self._text[self._at : self._at + size]
        if sum(map(text.count, "[{,")) > self._parts:
            self._window = ""
            raise BrokenJsonError(f"one feature has over {self._parts:,} parts")

    def members(self) -> Iterator[str]:
        """The names of the members of an object; each must be followed by taking its value."""
        self._take("{")
        while self._next("}"):
            key = self.value()
            self._take(":")
            yield str(key)

    def items(self) -> Iterator[Any]:
        """The items of a list, one by one."""
        self._take("[")
        while self._next("]"):
            yield self.value()

    def _take(self, sign: str) -> None:
        if self.peek() != sign:
            raise BrokenJsonError(f"{sign!r} is missing in line {self.line()}")
        self._at += 1

    def _next(self, end: str) -> bool:
        """Whether another item follows; passes over commas, also one too many."""
        found = _GAP.match(self._text, self._at)
        self._at = found.end() if found else self._at
        if self.peek() == end:
            self._at += 1
            return False
        return True
