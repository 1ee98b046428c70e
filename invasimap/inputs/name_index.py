"""The names, symbols and groups of a catalogue, each with the plants it stands for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import pandas as pd

from invasimap.inputs.plant_words import (
    authors_in,
    name_key,
    name_words,
    singular,
    spelt_otherwise,
    tidy,
    without_authors,
)

Taxa = frozenset[str]
SYMBOL: Final = re.compile(r"[A-Z]{3,6}\d{0,3}")
_HYBRID: Final = re.compile(r"\bx (\w)")
# authors of common plants that no row of the catalogue names, as its rows name one author each
_MORE_AUTHORS: Final = (
    "L Linn Thunb Mill Michx Walter Torr Gray Nutt Raf Pursh Marshall Lam Willd Sieb Siebold Zucc Maxim Houtt Decne "
    "Carr Carrière Dippel Rehder Rehd Regel Desr Kuntze Fisch Mey Ledeb Bunge Royle Lindl Aiton Ait Hook Benth Cav Moq "
    "Scop Roth Britton Pers Moench Hayek Gugler Gaertn Spreng Steud Trin Beauv Kunth Koidz Nakai Makino Ohwi Sanjappa "
    "Predeep Maesen Almeida Vent Swingle Salisb Medik Poir Juss Cham Schltdl Schmidt Petrop Ronse Chrtek Chrtková "
    "Bieb Cavara Andrz Murr Murray Bailey Franch Sav Hand Mazz Merr Rupr Herder Zabel Turcz Gross "
    "Camus Pall Blume Greene Bernh DC Druce Bordères Hitchc Loud Loudon Batsch Crantz Jacq Buckley Roxb"
)


@dataclass(frozen=True)
class NameIndex:
    """Names of the rows of a catalogue's ``table``, looked up without regard to case, spaces, hyphens or accents."""

    table: pd.DataFrame

    @cached_property
    def authors(self) -> frozenset[str]:
        """Words that stand behind a name for who gave it, none of which is a word of a name."""
        return authors_in([*self.table["author"], _MORE_AUTHORS]) - self.vocabulary

    @cached_property
    def scientific(self) -> dict[str, Taxa]:
        """Scientific names and synonyms."""
        return _gathered((key, taxon) for taxon, name in self._scientific() for key in _scientific_keys(name))

    @cached_property
    def names(self) -> dict[str, Taxa]:
        """Scientific names, synonyms and common names."""
        pairs = ((key, taxon) for key, taxa in self.scientific.items() for taxon in taxa)
        return _gathered([*pairs, *((name_key(name), taxon) for taxon, name in self._common())])

    @cached_property
    def loose(self) -> dict[str, Taxa]:
        """Names in the singular, and their words in the order of the alphabet."""
        both = [*self._common(), *self._scientific()]
        return _gathered((key, taxon) for taxon, name in both for key in loose_keys(name_words(name)))

    @cached_property
    def otherwise(self) -> dict[tuple[str, str], Taxa]:
        """Genus and epithet without their endings (see ``spelt_otherwise``)."""
        pairs = ((name_words(name), taxon) for taxon, name in self._scientific())
        return _gathered(((words[0], spelt_otherwise(words[1])), taxon) for words, taxon in pairs if len(words) == 2)

    @cached_property
    def symbols(self) -> dict[str, Taxa]:
        """Symbols in lower case, also those among the synonyms."""
        written = ((taxon, symbol) for taxon, symbol in self.table["symbol"].items() if symbol)
        also = ((taxon, name) for taxon, name in self._synonyms() if SYMBOL.fullmatch(name))
        return _gathered((str(symbol).lower(), str(taxon)) for taxon, symbol in [*written, *also])

    @cached_property
    def stems(self) -> dict[str, Taxa]:
        """Symbols without their number."""
        return _gathered(
            (symbol.rstrip("0123456789"), taxon) for symbol, taxa in self.symbols.items() for taxon in taxa
        )

    @cached_property
    def six(self) -> dict[str, Taxa]:
        """Codes of three letters of the genus and three of the epithet."""
        pairs = ((name_words(name), taxon) for taxon, name in self._scientific())
        return _gathered((words[0][:3] + words[1][:3], taxon) for words, taxon in pairs if len(words) > 1)

    @cached_property
    def epithets(self) -> dict[str, frozenset[tuple[str, str]]]:
        """Epithets with genus and plant."""
        found: dict[str, set[tuple[str, str]]] = {}
        for taxon, name in self._scientific():
            genus, *rest = name_words(name)
            if rest:
                found.setdefault("".join(rest), set()).add((genus, taxon))
        return {epithet: frozenset(pairs) for epithet, pairs in found.items()}

    @cached_property
    def genera(self) -> dict[str, Taxa]:
        """Genera with their plants."""
        return _gathered((name_words(name)[0], taxon) for taxon, name in self._scientific())

    @cached_property
    def groups(self) -> dict[str, Taxa]:
        """Genera, and the last words of common names ("honeysuckle", "bush honeysuckle"): never one plant."""
        ends = [(end, taxon) for taxon, name in self._common() for end in _ends(name)]
        pairs = [(genus, taxon) for genus, taxa in self.genera.items() for taxon in taxa]
        return {key: taxa for key, taxa in _gathered([*pairs, *ends]).items() if key not in self.names}

    @cached_property
    def choices(self) -> dict[str, Taxa]:
        """Every name as words, for finding the nearest."""
        both = [*self._scientific(), *self._common()]
        return _gathered((" ".join(name_words(name)), taxon) for taxon, name in both)

    @cached_property
    def shortened(self) -> dict[str, Taxa]:
        """Scientific names with the first letter of the genus only, for finding the nearest."""
        pairs = ((name_words(name), taxon) for taxon, name in self._scientific())
        return _gathered((" ".join([words[0][0], *words[1:]]), taxon) for words, taxon in pairs if len(words) > 1)

    @cached_property
    def vocabulary(self) -> frozenset[str]:
        """Every word of a name."""
        both = [*self._scientific(), *self._common()]
        return frozenset(word for _, name in both for word in name_words(name))

    def symbol_of(self, taxon: str) -> str:
        """The symbol of a plant, or nothing."""
        return str(self.table.at[taxon, "symbol"])

    def exact(self, text: str) -> Taxa:
        """Plants of which a text is a name, in any case, spacing, number or word order; or none."""
        if found := self.names.get(name_key(text)):
            return found
        if text.count(",") == 1 and (found := self.names.get(name_key(" ".join(reversed(text.split(",")))))):
            return found
        return next((self.loose[key] for key in loose_keys(name_words(text)) if key in self.loose), frozenset())

    def authored(self, text: str) -> Taxa:
        """Plants of which a text is the scientific name with authors and years; or none."""
        words = name_words(text)
        left = without_authors(words, self.authors)
        return self.scientific.get("".join(left), frozenset()) if len(left) < len(words) else frozenset()

    def group(self, text: str) -> Taxa:
        """Plants of the genus or group that a text names; or none."""
        words = name_words(text)
        keys = ("".join(words), "".join(map(singular, words)))
        return next((self.groups[key] for key in keys if key in self.groups), frozenset())

    def abbreviated(self, text: str) -> Taxa:
        """Plants of a name with a shortened genus ("L. maackii", "Lon. maackii"); or none."""
        words = without_authors(name_words(text), self.authors)
        short = words[0] if len(words) > 1 else ""
        if not short or len(short) > 4 or (len(short) > 1 and not text.casefold().startswith(f"{short}.")):
            return frozenset()
        pairs = self.epithets.get("".join(words[1:]), frozenset())
        return frozenset(taxon for genus, taxon in pairs if genus.startswith(short) and genus != short)

    def respelt(self, text: str) -> Taxa:
        """Plants of a name whose epithet has another ending ("Euonymus alata"); or none."""
        words = without_authors(name_words(text), self.authors)
        return (
            self.otherwise.get((words[0], spelt_otherwise(words[1])), frozenset()) if len(words) == 2 else frozenset()
        )

    def _scientific(self) -> Iterator[tuple[str, str]]:
        for taxon in self.table.index:
            yield str(taxon), str(taxon)
        yield from ((taxon, name) for taxon, name in self._synonyms() if not SYMBOL.fullmatch(name))

    def _synonyms(self) -> Iterator[tuple[str, str]]:
        return _cells(self.table["synonyms"])

    def _common(self) -> Iterator[tuple[str, str]]:
        return _cells(self.table["common_names"])


def split_cell(cell: str) -> list[str]:
    """The names in a cell of the catalogue, parted by semicolons."""
    return [part.strip() for part in cell.split(";") if part.strip()]


def loose_keys(words: list[str]) -> tuple[str, str]:
    """Words in the singular run together, in their order and in that of the alphabet."""
    single = [singular(word) for word in words]
    return "".join(single), " ".join(sorted(single))


def _cells(column: pd.Series[Any]) -> Iterator[tuple[str, str]]:
    return ((str(taxon), name) for taxon, cell in column.items() for name in split_cell(str(cell)))


def _scientific_keys(name: str) -> list[str]:
    """Keys of a name; a hybrid sign may also be glued to the epithet."""
    return [name_key(name), name_key(_HYBRID.sub(r"x\1", name))]


def _ends(name: str) -> list[str]:
    """The last words of a common name of two words or more, in the singular."""
    words = [singular(name_key(word)) for word in tidy(name).split()]
    return ["".join(words[start:]) for start in range(1, len(words)) if "of" not in words[start - 1 : start + 1]]


def _gathered(pairs: Iterable[tuple[Any, str]]) -> dict[Any, Taxa]:
    found: dict[Any, set[str]] = {}
    for key, taxon in pairs:
        found.setdefault(key, set()).add(taxon)
    return {key: frozenset(taxa) for key, taxa in found.items()}
