"""Plant names: the careful reading of what crews write, held against a catalogue of invasive and native plants."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Final

import pandas as pd

from invasimap.inputs import plant_words as say
from invasimap.inputs.catalogue import catalogue_table
from invasimap.inputs.likeness import is_sure, nearest
from invasimap.inputs.name_index import NameIndex, Taxa, split_cell
from invasimap.inputs.plant_words import JOINER, plain_name

__all__ = ["JOINER", "NONE_FOUND", "NOT_KNOWN", "Catalogue", "Match", "aside_reason", "load_catalogue", "plain_name"]

NONE_FOUND: Final = "recorded as none found"
NOT_KNOWN: Final = "species not known"
_LONGEST: Final = 200  # letters; no name is longer
_MOST_WORDS: Final = 16  # in which names are looked for one by one
_CODE: Final = re.compile(r"[a-z]{3,6}\d{0,3}")
_NEAREST: Final = 3


@dataclass(frozen=True, kw_only=True)
class Match:
    """How a written name was read.

    ``known`` is an invasive plant of the catalogue, ``native`` a native one; with neither and without ``reason`` the
    name is kept as written. ``how`` says what was changed. ``reason`` says why the record cannot be used as it is, and
    ``suggestions`` what it might have meant, with their ``scores`` (0-100) where a misspelling is the reason.
    """

    scientific_name: str
    common_name: str = ""
    how: str = ""
    known: bool = False
    native: bool = False
    suggestions: tuple[str, ...] = ()
    scores: tuple[float, ...] = ()
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class _Read:
    """Plants that a text may stand for: one, several of a ``group``, or those that a ``reason`` speaks of."""

    taxa: Taxa
    how: str = ""
    group: bool = False
    reason: str = ""
    scores: tuple[tuple[str, float], ...] = ()

    @property
    def taxon(self) -> str:
        """The one plant that is meant, or nothing."""
        return next(iter(self.taxa)) if len(self.taxa) == 1 and not self.group and not self.reason else ""


@dataclass(frozen=True)
class Catalogue:
    """The known plants; ``table`` is indexed by scientific name and holds status and traits as text.

    ``notes`` tell what a file of the user's own has changed.
    """

    table: pd.DataFrame = field(repr=False)
    notes: tuple[str, ...] = ()

    @cached_property
    def _index(self) -> NameIndex:
        return NameIndex(self.table)

    def match(self, name: str) -> Match:
        """Read one written name: scientific, synonym, common name, symbol or code, several of them for one plant, or a
        near misspelling.

        What is not surely one plant is never guessed: ``reason`` says why and ``suggestions`` what it might be. A name
        near to nothing is kept as written.

        Examples
        --------
        >>> load_catalogue().match("LONICERA MAACKII (Rupr.) Herder").scientific_name
        'Lonicera maackii'
        >>> load_catalogue().match("LOMA").how
        'LOMA read as LOMA6 Lonicera maackii'
        >>> load_catalogue().match("Celastrus scandens").native
        True
        """
        written = " ".join(name.split())
        if len(written) > _LONGEST:
            return Match(scientific_name=written, reason=f"species {written[:40]!r}… is too long for a name")
        text = say.tidy(written)
        taxa = self._index.exact(text)
        if taxa and not say.is_qualified(text):
            return self._told(written, self._one(text, taxa))
        return self._said(written, text) or self._qualified(written, text)

    def common_name(self, scientific_name: str) -> str:
        """The first common name of a plant, or nothing."""
        if scientific_name not in self.table.index:
            return ""
        return next(iter(split_cell(str(self.table.at[scientific_name, "common_names"]))), "")

    def _said(self, written: str, text: str) -> Match | None:
        """A text that says none, unknown or many, and one that says that a plant is absent."""
        if say.said_absent(written):
            return Match(scientific_name=written, reason=NONE_FOUND)
        if say.said_unknown(text or written):
            return Match(scientific_name=written, reason=NOT_KNOWN)
        if say.said_mixed(text):
            return Match(scientific_name=written, reason=_several(written, frozenset()))
        absent = say.absent_name(text)
        if absent and self._read(absent) is not None:
            return Match(scientific_name=written, reason=NONE_FOUND)
        return None

    def _qualified(self, written: str, text: str) -> Match:
        """A text with doubts, or words that say "native" or "akin to", and then any other."""
        if bare := say.without_native(text):
            return self._said_native(written, bare)
        if akin := say.without_akin(text):
            found = self._read(akin)
            reason = f"species {written!r} is said to be akin to a plant, not that plant: write the one that it is"
            read = _Read(taxa=found.taxa, reason=reason) if found else None
            return self._told(written, read)
        sure, doubt = say.without_doubt(text)
        read = self._read(sure)
        if doubt and read is not None and read.taxon:
            how = f"{written!r} read as {read.taxon}: the crew was not sure ({doubt})"
            read = replace(read, how=f"{read.how}; {how}" if read.how else how)
        return self._told(written, read)

    def _said_native(self, written: str, bare: str) -> Match:
        read = self._read(bare)
        if read is not None and read.taxon and self._status(read.taxon) == "native":
            return self._told(written, read)
        taxa = read.taxa if read else frozenset()
        names = f" ({', '.join(sorted(taxa))})" if taxa else ""
        reason = f"species {written!r} is said to be native: if an invasive plant is meant, write its name{names}"
        return self._told(written, _Read(taxa=taxa, reason=reason))

    def _told(self, written: str, read: _Read | None) -> Match:
        """What was read as a match."""
        if read is None:
            return Match(scientific_name=written)
        if taxon := read.taxon:
            status = self._status(taxon)
            ignored = f"species {taxon} is to be left out: your own plant file says so" if status == "ignore" else ""
            return Match(
                scientific_name=taxon, common_name=self.common_name(taxon), how=read.how, reason=ignored,
                known=status == "invasive", native=status == "native",
            )  # fmt: skip
        taxa = [taxon for taxon, _ in read.scores] or sorted(read.taxa)
        reason = read.reason or _of_group(written, read.taxa)
        return Match(
            scientific_name=written, suggestions=tuple(taxa), scores=tuple(s for _, s in read.scores), reason=reason
        )

    def _status(self, taxon: str) -> str:
        return str(self.table.at[taxon, "status"])

    def _one(self, written: str, taxa: Taxa, how: str = "") -> _Read:
        """One plant, or the several that share a name."""
        if len(taxa) == 1:
            return _Read(taxa=taxa, how=how)
        return _Read(taxa=taxa, reason=f"species {written!r} is not clear: it may be {_or(taxa)}")

    def _read(self, text: str, depth: int = 0) -> _Read | None:
        """What a text stands for, by the surest way that gives an answer."""
        if not text or depth > 4:
            return None
        ways: tuple[Callable[[str, int], _Read | None], ...] = (
            self._whole, self._bare, self._parts, self._run_on, self._misspelt, self._held_in, self._near,
        )  # fmt: skip
        return next((found for way in ways if (found := way(text, depth)) is not None), None)

    def _whole(self, text: str, _depth: int = 0) -> _Read | None:
        """The text as a name, group, symbol or code, shortened or with its authors."""
        index = self._index
        if taxa := index.exact(text) or index.authored(text):
            return self._one(text, taxa)
        if taxa := index.group(text):
            return _Read(taxa=taxa, group=True)
        if code := self._code(text):
            return code
        if taxa := index.abbreviated(text) or index.respelt(text):
            return self._one(text, taxa, how=f"{text!r} read as {next(iter(taxa))}")
        return None

    def _code(self, text: str) -> _Read | None:
        index, code = self._index, text.lower()
        if taxa := index.symbols.get(code, frozenset()):
            return self._one(text, taxa)
        if taxa := index.stems.get(code, frozenset()):
            (one, *_) = taxa
            return self._one(text, taxa, how=f"{text} read as {index.symbol_of(one)} {one}")
        if len(code) == 6 and (taxa := index.six.get(code, frozenset())):
            (one, *_) = taxa
            return self._one(text, taxa, how=f"{text} read as three letters of genus and epithet: {one}")
        return None

    def _bare(self, text: str, depth: int) -> _Read | None:
        """The text without cultivar, words of origin and remarks."""
        bare, cultivar = say.without_cultivar(text)
        bare, remarks = say.without_remarks(say.without_origin(bare))
        if bare == text or not bare:
            return None
        found = self._whole(bare)
        left = ", ".join(repr(part) for part in (cultivar, remarks) if part)
        if found is None or not found.taxon or not left:
            return found
        return replace(
            found, how="; ".join(filter(None, (found.how, f"{text!r} read as {found.taxon}: without {left}")))
        )

    def _parts(self, text: str, depth: int) -> _Read | None:
        """Names parted by signs or joining words."""
        for parts in say.split_name(text):
            found = self._each(parts, depth)
            if any(read is not None for read in found) and (not parts.glued or None not in found):
                return self._joined(text, found, listing=parts.listing)
        return None

    def _each(self, parts: say.Parts, depth: int) -> list[_Read | None]:
        """What each part stands for; parts that say nothing of the plant (authors, remarks) are left out."""
        read: list[_Read | None] = []
        genus = ""
        for part in parts.texts:
            words = say.name_words(part)
            elided = self._whole(f"{genus} {part}") if genus and len(words) == 1 else None
            found = elided if elided and not elided.group else self._whole(part)
            if found is not None or not self._idle(part):
                read.append(found or self._read(part, depth + 1))
            first = part.split()[0]
            genus = first if len(words) > 1 or first.casefold() in self._index.genera else genus
        return read

    def _idle(self, part: str) -> bool:
        """Whether a part names no plant: authors, years, remarks and words of origin only."""
        left = say.without_remarks(say.without_origin(part))[0]
        return all(say.is_author(word, self._index.authors) for word in say.name_words(left))

    def _joined(self, text: str, found: list[_Read | None], *, listing: bool) -> _Read:
        """What several names in one cell stand for together."""
        reads = [read for read in found if read is not None]
        taxa = frozenset[str]().union(*(read.taxa for read in reads))
        if None in found:
            single = len({read.taxa for read in reads}) == 1
            reason = _with_words(text, taxa) if single and not listing else _several(text, taxa)
            return _Read(taxa=taxa, reason=reason)
        common = frozenset.intersection(*(read.taxa for read in reads))
        sure = {read.taxon for read in reads if read.taxon}
        if not common or (listing and sure and any(read.group for read in reads)):
            return _Read(taxa=taxa, reason=_several(text, taxa))
        if not sure:
            return _Read(taxa=common, group=True) if len(reads) > 1 else reads[0]
        hows = list(dict.fromkeys(read.how for read in reads if read.how))
        if any(not read.taxon for read in reads):
            hows.append(f"{text!r} read as {next(iter(sure))}")
        return _Read(taxa=common, how="; ".join(hows))

    def _run_on(self, text: str, _depth: int) -> _Read | None:
        """Two names without a sign between them."""
        words = text.split()
        if not 2 <= len(words) <= _MOST_WORDS:
            return None
        for cut in range(1, len(words)):
            two = [self._whole(" ".join(part)) for part in (words[:cut], words[cut:])]
            if all(two) and any(read is not None and not read.group for read in two):
                return self._joined(text, [*two], listing=False)
        return None

    def _misspelt(self, text: str, _depth: int) -> _Read | None:
        """A misspelling that can only be one name."""
        if self._is_code(text):
            return None
        words = self._bare_words(text)
        found = nearest(words, self._index.choices)
        if not is_sure(words, found, self._index.vocabulary) or self._nearer_group(words, found):
            return None
        taxon, score, _ = found[0]
        return _Read(taxa=frozenset({taxon}), how=f"{text!r} read as {taxon} (score {score:.0f})")

    def _nearer_group(self, words: list[str], found: list[tuple[str, float, str]]) -> Taxa:
        """Plants of a group that is nearer to the words than any of the names found."""
        groups = nearest(words, self._index.groups)
        best = groups[0][1] if groups else 0.0
        if not groups or (found and found[0][1] >= best):
            return frozenset()
        return frozenset(taxon for taxon, score, _ in groups if score == best)

    def _held_in(self, text: str, _depth: int) -> _Read | None:
        """A text that holds a name and other words."""
        words = text.split()
        if not 2 <= len(words) <= _MOST_WORDS:
            return None
        runs = (words[a:b] for size in range(min(len(words) - 1, 5), 0, -1)
                for a in range(len(words) - size + 1) for b in (a + size,))  # fmt: skip
        for run in runs:
            if taxa := self._named(" ".join(run)):
                return _Read(taxa=taxa, reason=_with_words(text, taxa))
        return None

    def _named(self, run: str) -> Taxa:
        """Plants of a common name, of a scientific name of two words, or of a symbol in capitals."""
        index = self._index
        if run.isupper() and run.lower() in index.symbols:
            return index.symbols[run.lower()]
        words = say.name_words(run)
        taxa = index.names.get("".join(words), frozenset())
        return frozenset() if len(words) == 1 and words[0] in index.genera else taxa

    def _near(self, text: str, _depth: int) -> _Read | None:
        """A text too near to listed names to be taken for another plant."""
        if self._is_code(text):
            return None
        words = self._bare_words(text)
        short = bool(words) and len(words[0]) == 1
        found = nearest(words, self._index.shortened if short else self._index.choices)
        if group := self._nearer_group(words, found):
            return _Read(taxa=group, group=True)
        if not found:
            return None
        scores = tuple((taxon, score) for taxon, score, _ in found[:_NEAREST])
        told = ", ".join(f"{taxon} ({score:.0f})" for taxon, score in scores)
        taxa = frozenset(taxon for taxon, _ in scores)
        return _Read(taxa=taxa, reason=f"species {text!r} is not clear: nearest are {told}", scores=scores)

    def _bare_words(self, text: str) -> list[str]:
        return say.without_authors(say.name_words(text), self._index.authors)

    def _is_code(self, text: str) -> bool:
        """Whether a text looks like a symbol, which is never read as a misspelling."""
        code = text.lower()
        return _CODE.fullmatch(code) is not None and (text.isupper() or code[-1].isdigit() or len(code) <= 4)


def load_catalogue(own: Path | None = None) -> Catalogue:
    """The catalogue that comes with the package, and over it the rows of a file of the user's own.

    Parameters
    ----------
    own
        A delimited text file with the column ``scientific_name``; optional are ``status`` (invasive, native or ignore),
        ``common_names``, ``synonyms`` (parted by semicolons), ``symbol`` and the traits of the catalogue. A row of a
        listed plant replaces what its filled cells say, any other adds a plant.

    Raises
    ------
    LayerError
        Lists every fault of the file with its line.

    Examples
    --------
    >>> load_catalogue().common_name("Rosa multiflora")
    'multiflora rose'
    """
    table, notes = catalogue_table(own)
    return Catalogue(table, notes)


def aside_reason(match: Match) -> str:
    """Why a record with this name is set aside, or nothing where it counts.

    Examples
    --------
    >>> aside_reason(load_catalogue().match("Lindera benzoin"))[:64]
    'native plant (Lindera benzoin, northern spicebush): not counted '
    """
    if not match.native:
        return match.reason
    named = ", ".join(filter(None, (match.scientific_name, match.common_name)))
    read = f"; {match.how}" if match.how else ""
    return (
        f"native plant ({named}): not counted for treatment{read}; if another plant is meant write its name, if it is to "
        "be treated give it the status invasive in your own plant file"
    )


def _or(taxa: Taxa) -> str:
    return " or ".join(sorted(taxa))


def _of_group(written: str, taxa: Taxa) -> str:
    return f"species {written!r} is a genus or group, no one species: write which one; listed are {', '.join(sorted(taxa))}"


def _several(written: str, taxa: Taxa) -> str:
    named = f" ({', '.join(sorted(taxa))})" if taxa else ""
    return f"species {written!r} names more than one plant{named}: write one record for each"


def _with_words(written: str, taxa: Taxa) -> str:
    name = f"the name {_or(taxa)}" if len(taxa) < 4 else "a name"
    return f"species {written!r} holds more than {name}: write one name a record, the rest in the notes"
