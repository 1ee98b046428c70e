"""Texts that came from outside, made fit for a file of UTF-8 and for a screen."""

from __future__ import annotations


def writable(text: str) -> str:
    """A text that UTF-8 can hold: halves of signs, as of a file's name in another encoding, become question marks.

    Examples
    --------
    >>> writable("caf\\udce9.csv"), writable("café")
    ('caf?.csv', 'café')
    """
    return text.encode("utf-8", "replace").decode("utf-8")


def visible(text: str, *, lines: bool = False) -> str:
    """A text for a comment or a screen: signs that cannot be seen, which a terminal may obey, are escaped.

    Parameters
    ----------
    text
        Any text.
    lines
        Whether the ends of lines stay.

    Examples
    --------
    >>> visible("a\\x1b[2J\\n"), visible("a\\nb", lines=True)
    ('a\\\\u001b[2J\\\\u000a', 'a\\nb')
    """
    return "".join(sign if sign.isprintable() or (lines and sign == "\n") else _escaped(ord(sign)) for sign in text)


def _escaped(code: int) -> str:
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
