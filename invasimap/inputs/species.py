"""Plant names: a catalogue of invasive taxa and the careful reading of what crews write."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from functools import cached_property
from importlib import resources
from typing import Final

import pandas as pd
from rapidfuzz import fuzz, process

SURE_SCORE: Final = 90.0  # percent likeness from which a misspelling is read as the name
CLEAR_LEAD: Final = 5.0  # by which the best name must lead the next species
CLOSE_SCORE: Final = 75.0  # from which a name is too near to a listed one to be taken for another plant
EPITHET_SCORE: Final = 60.0  # under it two names of one genus are two plants, not a misspelling
JOINER: Final = ";"  # between the names of one face of the mosaic: never part of a name
_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_INVISIBLE: Final = re.compile(r"[\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff\ud800-\udfff\ufffe\uffff]")
_CODE: Final = re.compile(r"[a-z]{3,6}\d{0,3}")
_GENUS_ONLY: Final = re.compile(r"([a-z]+)(?: (?:sp|spp|species))?")
_INFRA: Final = re.compile(r" (subsp|var) (\S+)")


@dataclass(frozen=True, kw_only=True)
class Match:
    """How a written name was read; ``how`` says what was changed, ``suggestions`` what it might have meant."""

    scientific_name: str
    common_name: str = ""
    how: str = ""
    known: bool = False
    suggestions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Catalogue:
    """The known taxa; ``table`` is indexed by scientific name and holds their traits as text."""

    table: pd.DataFrame = field(repr=False)

    @cached_property
    def _names(self) -> dict[str, set[str]]:
        """Every normalised name, synonym and common name with the taxa it stands for."""
        found: dict[str, set[str]] = {}
        for name, row in self.table.iterrows():
            for text in (str(name), *_split(row["synonyms"]), *_split(row["common_names"])):
                found.setdefault(normal_name(text), set()).add(str(name))
        return found

    @cached_property
    def _symbols(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {}
        for name, symbol in self.table["symbol"].items():
            if symbol:
                found.setdefault(symbol.lower(), set()).add(str(name))
        return found

    @cached_property
    def _stems(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {}
        for symbol, names in self._symbols.items():
            found.setdefault(symbol.rstrip("0123456789"), set()).update(names)
        return found

    @cached_property
    def _genera(self) -> set[str]:
        return {str(name).split()[0].lower() for name in self.table.index}

    def match(self, name: str) -> Match:
        """Read one written name: scientific name, synonym, common name, symbol, or a near misspelling of a name.

        A name near to several, or a subspecies that is not listed, is not guessed: ``known`` is false and
        ``suggestions`` names the nearest. A name near to nothing is kept as written.

        Examples
        --------
        >>> load_catalogue().match("LONICERA MAACKII (Rupr.) Herder").scientific_name
        'Lonicera maackii'
        >>> load_catalogue().match("LOMA").how
        'LOMA read as LOMA6 Lonicera maackii'
        """
        written = " ".join(name.split())
        key = normal_name(written)
        for read in (self._by_name, self._by_code, self._by_initial, self._by_likeness):
            if (found := read(written, key)) is not None:
                return found
        return Match(scientific_name=written)

    def _known(self, name: str, how: str = "") -> Match:
        return Match(scientific_name=name, common_name=self.common_name(name), how=how, known=True)

    def _symbol_of(self, name: str) -> str:
        return str(self.table.at[name, "symbol"])

    def common_name(self, scientific_name: str) -> str:
        """The first common name of a taxon, or nothing."""
        if scientific_name not in self.table.index:
            return ""
        return next(iter(_split(str(self.table.at[scientific_name, "common_names"]))), "")

    def _by_name(self, written: str, key: str) -> Match | None:
        words = key.split()
        species = " ".join(words[:3] if "x" in words[1:2] else words[:2])
        infra = _INFRA.search(key)
        below = f"{species} {infra[1]} {infra[2]}" if infra else ""
        for text in (key, below):
            if text in self._names:
                return self._pick(written, self._names[text])
        near = self._names.get(species)
        if near is None:
            return None
        if infra and infra[2] != words[1]:
            return Match(scientific_name=written, suggestions=tuple(sorted(near)))
        return self._pick(written, near)

    def _pick(self, written: str, names: set[str]) -> Match:
        if len(names) > 1:
            return Match(scientific_name=written, suggestions=tuple(sorted(names)[:3]))
        return self._known(next(iter(names)))

    def _by_code(self, written: str, _key: str) -> Match | None:
        code = written.lower()
        if code in self._symbols:
            return self._pick(written, self._symbols[code])
        if code in self._stems:
            names = self._stems[code]
            if len(names) > 1:
                return Match(scientific_name=written, suggestions=tuple(sorted(names)[:3]))
            name = next(iter(names))
            return self._known(name, how=f"{written} read as {self._symbol_of(name)} {name}")
        is_code = _CODE.fullmatch(code) and (written.isupper() or code[-1].isdigit() or len(code) <= 4)
        return Match(scientific_name=written) if is_code else None

    def _by_initial(self, written: str, key: str) -> Match | None:
        words = key.split()
        if len(words) < 2 or len(words[0]) != 1:
            genus = _GENUS_ONLY.fullmatch(key)
            return Match(scientific_name=written) if genus and genus[1] in self._genera else None
        names = {
            name
            for text, taxa in self._names.items()
            if text[0] == words[0] and text.split()[1:2] == words[1:2]
            for name in taxa
        }
        if len(names) != 1:
            return None
        name = next(iter(names))
        return self._known(name, how=f"{written!r} read as {name}")

    def _by_likeness(self, written: str, key: str) -> Match | None:
        if len(key) < 6:
            return None
        best: dict[str, float] = {}
        for text, score, _ in process.extract(key, list(self._names), scorer=fuzz.ratio, limit=12):
            if _another_plant(key, text):
                continue
            for taxon in self._names[text]:
                best[taxon] = max(best.get(taxon, 0.0), score)
        ranked = sorted(best.items(), key=lambda item: (-item[1], item[0]))
        if not ranked or ranked[0][1] < CLOSE_SCORE:
            return None
        lead = ranked[0][1] - (ranked[1][1] if len(ranked) > 1 else 0.0)
        if ranked[0][1] >= SURE_SCORE and lead >= CLEAR_LEAD:
            return self._known(ranked[0][0], how=f"{written!r} read as {ranked[0][0]} (score {ranked[0][1]:.0f})")
        return Match(scientific_name=written, suggestions=tuple(name for name, _ in ranked[:3]))


def normal_name(text: str) -> str:
    """A name for comparing: lower case, single spaces, one hybrid sign (x), ranks spelt one way, no quotes or hyphens.

    Examples
    --------
    >>> normal_name("Lonicera X bella"), normal_name("Centaurea stoebe ssp. micranthos")
    ('lonicera x bella', 'centaurea stoebe subsp micranthos')
    """
    text = text.casefold().replace("×", " x ").replace("_", " ")  # noqa: RUF001 (the hybrid sign)
    text = re.sub(r"[‘’'`\"]", "", text)  # noqa: RUF001 (typed apostrophes)
    text = re.sub(r"[-.,()\[\]]+", " ", text)
    text = re.sub(r"\b(?:ssp|subspecies)\b", "subsp", text)
    return " ".join(text.split())


def plain_name(text: str) -> str:
    """A written name without line breaks and other signs that files and screens cannot hold, or joiners at its ends.

    Examples
    --------
    >>> plain_name("Rosa\\nmultiflora;")
    'Rosa multiflora'
    """
    return _INVISIBLE.sub("", _CONTROL.sub(" ", text)).strip(f"{JOINER} ")


def load_catalogue() -> Catalogue:
    """The catalogue that comes with the package."""
    source = resources.files("invasimap.inputs").joinpath("data", "species.csv")
    rows = list(csv.DictReader(io.StringIO(source.read_text(encoding="utf-8"))))
    return Catalogue(pd.DataFrame(rows, dtype=object).set_index("scientific_name"))


def _another_plant(written: str, listed: str) -> bool:
    """Whether two names share their genus but not nearly their epithet."""
    one, two = written.split(), listed.split()
    if len(one) < 2 or len(two) < 2 or one[0] != two[0]:
        return False
    return fuzz.ratio(one[1], two[1]) < EPITHET_SCORE


def _split(cell: str) -> list[str]:
    return [part.strip() for part in cell.split(";") if part.strip()]
