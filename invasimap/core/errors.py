"""The errors of the package and the exit code each one carries.

::

    InvasimapError             1  a fault of ours
    +-- InvariantError         1  a result contradicts itself: areas lost, protection overlapped
    +-- InputError             2  the user's input is at fault; lists every fault found
        +-- SettingsError      2  the settings file
        +-- LayerError         2  a file or layer that cannot be used
        +-- CRSError           2  reference systems missing or mixed
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing wrong with the input: where it is, what it is and how to mend it."""

    where: str
    what: str
    mend: str = ""

    def __str__(self) -> str:
        tail = f"\n    {self.mend}" if self.mend else ""
        return f"{self.where}: {self.what}{tail}"


class InvasimapError(Exception):
    """Base of every error this package raises on purpose."""

    exit_code = 1


class InvariantError(InvasimapError):
    """A result contradicts itself; nothing has been written."""


class InputError(InvasimapError):
    """The input cannot be used; ``faults`` lists everything found, not only the first.

    Examples
    --------
    >>> error = InputError([Fault(where="stands.gpkg", what="no layer 'stand'", mend="layers: stands")])
    >>> print(error)
    stands.gpkg: no layer 'stand'
        layers: stands
    """

    exit_code = 2

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class SettingsError(InputError):
    """The settings file is missing, malformed or asks for something that cannot be."""


class LayerError(InputError):
    """A file or a layer in it is missing, unreadable or of the wrong kind."""


class CRSError(InputError):
    """A layer has no coordinate reference system, or layers do not share one."""
