"""Plant names: the careful reading of what crews write, held against a catalogue of invasive and native plants."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from pathlib import Path
from typing import Final

import pandas as pd

from invasimap.inputs import plant_words as say
from invasimap.inputs.catalogue import catalogue_table
from invasimap.inputs.name_index import NameIndex, split_cell
from invasimap.inputs.name_reader import NameReader, Read, of_group, several
from invasimap.inputs.plant_words import JOINER, plain_name

__all__ = ["JOINER", "NONE_FOUND", "NOT_KNOWN", "Catalogue", "Match", "aside_reason", "load_catalogue", "plain_name"]

NONE_FOUND: Final = "recorded as none found"
NOT_KNOWN: Final = "species not known"
_LONGEST: Final = 200  # letters; no name is longer


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


@dataclass(frozen=True)
class Catalogue:
    """The known plants; ``table`` is indexed by scientific name and holds status and traits as text.

    ``notes`` tell what a file of the user's own has changed.
    """

    table: pd.DataFrame = field(repr=False)
    notes: tuple[str, ...] = ()

    @cached_property
    def _reader(self) -> NameReader:
        return NameReader(NameIndex(self.table))

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
        taxa = self._reader.index.exact(text)
        if taxa and not say.is_qualified(text):
            return self._told(written, self._reader.one(text, taxa))
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
        if say.said_unknown(written) or say.said_unknown(text):
            return Match(scientific_name=written, reason=NOT_KNOWN)
        if say.said_mixed(text):
            return Match(scientific_name=written, reason=several(written))
        absent = say.absent_name(text)
        if absent and self._reader.read(absent) is not None:
            return Match(scientific_name=written, reason=NONE_FOUND)
        return None

    def _qualified(self, written: str, text: str) -> Match:
        """A text with doubts, or words that say "native" or "akin to", and then any other."""
        if bare := say.without_native(text):
            return self._said_native(written, bare)
        if akin := say.without_akin(text):
            found = self._reader.read(akin)
            reason = f"species {written!r} is said to be akin to a plant, not that plant: write the one that it is"
            read = Read(taxa=found.taxa, reason=reason) if found else None
            return self._told(written, read)
        sure, doubt = say.without_doubt(text)
        read = self._reader.read(sure)
        if doubt and read is not None and read.taxon:
            how = f"{written!r} read as {read.taxon}: the crew was not sure ({doubt})"
            read = replace(read, how=f"{read.how}; {how}" if read.how else how)
        return self._told(written, read)

    def _said_native(self, written: str, bare: str) -> Match:
        read = self._reader.read(bare)
        if read is not None and read.taxon and self._status(read.taxon) == "native":
            return self._told(written, read)
        taxa = read.taxa if read else frozenset()
        names = f" ({', '.join(sorted(taxa))})" if taxa else ""
        reason = f"species {written!r} is said to be native: if an invasive plant is meant, write its name{names}"
        return self._told(written, Read(taxa=taxa, reason=reason))

    def _told(self, written: str, read: Read | None) -> Match:
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
        natives = frozenset(taxon for taxon in read.taxa if self._status(taxon) == "native")
        reason = read.reason or of_group(written, read.taxa, natives)
        return Match(
            scientific_name=written, suggestions=tuple(taxa), scores=tuple(s for _, s in read.scores), reason=reason
        )

    def _status(self, taxon: str) -> str:
        return str(self.table.at[taxon, "status"])


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
    return _packaged() if own is None else Catalogue(*catalogue_table(own))


@cache
def _packaged() -> Catalogue:
    """The catalogue of the package, whose index of names takes longer to build than a small survey to read."""
    return Catalogue(*catalogue_table(None))


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
        f"native plant ({named}): not counted for treatment{read}; if another plant is meant write its name, "
        "if it is to be treated give it the status invasive in your own plant file"
    )
