"""Names that a small screen can show: ten plain signs at most, and no two alike."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from typing import Final

LONGEST_NAME: Final = 10


@dataclass
class ShortNames:
    """Gives each thing in a file a name of its own.

    Examples
    --------
    >>> names = ShortNames()
    >>> names.give("Z001"), names.give("Ruisseau près du pré"), names.give("ruisseau pres"), names.give("火")
    ('Z001', 'RUISSEAU-P', 'RUISSEAU.2', 'X')
    """

    taken: set[str] = field(default_factory=set)

    def give(self, text: str) -> str:
        """A name as near to a text as it can be."""
        plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().upper()
        stem = re.sub(r"[^A-Z0-9]+", "-", plain).strip("-")[:LONGEST_NAME].strip("-") or "X"
        found, number = stem, 1
        while found in self.taken:
            number += 1
            ending = f".{number}"
            found = stem[: LONGEST_NAME - len(ending)] + ending
        self.taken.add(found)
        return found
