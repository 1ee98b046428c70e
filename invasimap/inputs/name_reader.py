"""What one written name stands for: a plant, several, a group, or a name with other words."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from invasimap.inputs import plant_words as say
from invasimap.inputs.likeness import is_sure, nearest
from invasimap.inputs.name_index import NameIndex, Taxa

_MOST_WORDS: Final = 16  # in which names are looked for one by one
_DEEPEST: Final = 4  # lists within lists
_CODE: Final = re.compile(r"[a-z]{3,6}\d{0,3}")
_SPACED_CODE: Final = re.compile(r"^([a-z]{4,6}) (\d{1,3})$")
_NEAREST: Final = 3
_LONG_WORD: Final = 7  # letters; shorter epithets are also plain words ("minor", "major")


@dataclass(frozen=True, kw_only=True)
class Read:
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
class NameReader:
    """Reads written names with an index of all that are listed."""

    index: NameIndex

    def one(self, written: str, taxa: Taxa, how: str = "") -> Read:
        """One plant, or the several that share a name."""
        if len(taxa) == 1:
            return Read(taxa=taxa, how=how)
        return Read(taxa=taxa, reason=f"species {written!r} is not clear: it may be {_or(taxa)}")

    def read(self, text: str, depth: int = 0) -> Read | None:
        """What a text stands for, by the surest way that gives an answer."""
        if not text or depth > _DEEPEST:
            return None
        ways: tuple[Callable[[str, int], Read | None], ...] = (
            self._whole, self._bare, self._parts, self._run_on, self._misspelt, self._held_in, self._near,
        )  # fmt: skip
        return next((found for way in ways if (found := way(text, depth)) is not None), None)

    def _whole(self, text: str, _depth: int = 0) -> Read | None:
        """The text as a name, group, symbol or code, shortened or with its authors."""
        index = self.index
        if taxa := index.exact(text) or index.authored(text):
            return self.one(text, taxa)
        if taxa := index.group(text):
            return Read(taxa=taxa, group=True)
        if code := self._code(text):
            return code
        if taxa := index.abbreviated(text) or index.respelt(text):
            return self.one(text, taxa, how=f"{text!r} read as {next(iter(taxa))}")
        return None

    def _code(self, text: str) -> Read | None:
        index, code = self.index, _SPACED_CODE.sub(r"\1\2", text.lower())
        if taxa := index.symbols.get(code, frozenset()):
            return self.one(text, taxa)
        if taxa := index.stems.get(code, frozenset()):
            (one, *_) = taxa
            return self.one(text, taxa, how=f"{text} read as {index.symbol_of(one)} {one}")
        if len(code) == 6 and (taxa := index.six.get(code, frozenset())):
            (one, *_) = taxa
            return self.one(text, taxa, how=f"{text} read as three letters of genus and epithet: {one}")
        return None

    def _bare(self, text: str, _depth: int) -> Read | None:
        """The text without cultivar, words of origin and remarks."""
        bare, cultivar = say.without_cultivar(text)
        if cultivar and self._whole(cultivar) is not None:  # another name in quotes
            return None
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

    def _parts(self, text: str, depth: int) -> Read | None:
        """Names parted by signs or joining words."""
        for parts in say.split_name(text):
            found = self._each(parts, depth)
            if any(read is not None for read in found) and (not parts.glued or None not in found):
                return self._joined(text, found, listing=parts.listing)
        return None

    def _each(self, parts: say.Parts, depth: int) -> list[Read | None]:
        """What each part stands for; parts that say nothing of the plant (authors, remarks) are left out."""
        read: list[Read | None] = []
        genus = ""
        for part in parts.texts:
            words = say.name_words(part)
            elided = self._elided(part, genus, parts) if len(words) == 1 else None
            found = elided if elided and not elided.group else self._whole(part)
            if found is not None or not self._idle(part):
                read.append(found or self.read(part, depth + 1))
            first = part.split()[0]
            genus = first if len(words) > 1 or first.casefold() in self.index.genera else genus
        return read

    def _elided(self, part: str, genus: str, parts: say.Parts) -> Read | None:
        """A word that shares its genus with the name before ("maackii/morrowii") or its last word with the last one."""
        last = parts.texts[-1].split()
        shared = f"{part} {last[-1]}" if parts.listing and len(last) > 1 else ""
        return (genus and self._whole(f"{genus} {part}")) or (shared and self._whole(shared)) or None

    def _idle(self, part: str) -> bool:
        """Whether a part names no plant: authors, years, remarks and words of origin only."""
        left = say.without_remarks(say.without_origin(part))[0]
        return all(say.is_author(word, self.index.authors) for word in say.name_words(left))

    def _joined(self, text: str, found: list[Read | None], *, listing: bool) -> Read:
        """What several names in one cell stand for together."""
        reads = [read for read in found if read is not None]
        taxa = frozenset[str]().union(*(read.taxa for read in reads))
        if None in found or any(read.reason and len(read.taxa) == 1 for read in reads):
            single = len({read.taxa for read in reads}) == 1
            reason = _with_words(text, taxa) if single and not listing else several(text, taxa)
            return Read(taxa=taxa, reason=reason)
        common = frozenset.intersection(*(read.taxa for read in reads))
        sure = {read.taxon for read in reads if read.taxon}
        if not common or (listing and sure and any(read.group for read in reads)):
            return Read(taxa=taxa, reason=several(text, taxa))
        if not sure:
            return Read(taxa=common, group=True) if len(reads) > 1 else reads[0]
        hows = list(dict.fromkeys(read.how for read in reads if read.how))
        if any(not read.taxon for read in reads):
            hows.append(f"{text!r} read as {next(iter(sure))}")
        return Read(taxa=common, how="; ".join(hows))

    def _run_on(self, text: str, _depth: int) -> Read | None:
        """Two names without a sign between them."""
        words = text.split()
        if not 2 <= len(words) <= _MOST_WORDS:
            return None
        for cut in range(1, len(words)):
            two = [self._whole(" ".join(part)) for part in (words[:cut], words[cut:])]
            if all(two) and any(read is not None and not read.group for read in two):
                return self._joined(text, [*two], listing=False)
        return None

    def _misspelt(self, text: str, _depth: int) -> Read | None:
        """A misspelling that can only be one name."""
        if self._is_code(text):
            return None
        words = self._bare_words(text)
        found = nearest(words, self.index.choices)
        if not is_sure(words, found, self.index.vocabulary) or self._nearer_group(words, found):
            return None
        taxon, score, _ = found[0]
        return Read(taxa=frozenset({taxon}), how=f"{text!r} read as {taxon} ({score:.0f} of 100 alike)")

    def _nearer_group(self, words: list[str], found: list[tuple[str, float, str]]) -> Taxa:
        """Plants of a group that is nearer to the words than any of the names found."""
        groups = nearest(words, self.index.groups)
        best = groups[0][1] if groups else 0.0
        if not groups or (found and found[0][1] >= best):
            return frozenset()
        return frozenset(taxon for taxon, score, _ in groups if score == best)

    def _held_in(self, text: str, _depth: int) -> Read | None:
        """A text that holds a name and other words."""
        words = text.split()
        if len(words) == 1 and len(text) >= _LONG_WORD and (pairs := self.index.epithets.get(text.lower())):
            reason = f"species {text!r} is half a name: write the genus too"
            return Read(taxa=frozenset(taxon for _, taxon in pairs), reason=reason)
        if not 2 <= len(words) <= _MOST_WORDS:
            return None
        runs = (words[a:b] for size in range(min(len(words) - 1, 5), 0, -1)
                for a in range(len(words) - size + 1) for b in (a + size,))  # fmt: skip
        for run in runs:
            if taxa := self._named(" ".join(run)):
                return Read(taxa=taxa, reason=_with_words(text, taxa))
        return None

    def _named(self, run: str) -> Taxa:
        """Plants of a common name, of a scientific name of two words, or of a symbol in capitals."""
        index = self.index
        if run.isupper() and run.lower() in index.symbols:
            return index.symbols[run.lower()]
        words = say.name_words(run)
        taxa = index.names.get("".join(words), frozenset())
        return frozenset() if len(words) == 1 and words[0] in index.genera else taxa

    def _near(self, text: str, _depth: int) -> Read | None:
        """A text too near to listed names to be taken for another plant."""
        if self._is_code(text):
            return None
        words = self._bare_words(text)
        short = bool(words) and len(words[0]) == 1
        found = nearest(words, self.index.shortened if short else self.index.choices)
        if group := self._nearer_group(words, found):
            return Read(taxa=group, group=True)
        if not found:
            return None
        scores = tuple((taxon, score) for taxon, score, _ in found[:_NEAREST])
        told = ", ".join(f"{taxon} ({score:.0f} of 100 alike)" for taxon, score in scores)
        taxa = frozenset(taxon for taxon, _ in scores)
        return Read(taxa=taxa, reason=f"species {text!r} is not clear: nearest are {told}", scores=scores)

    def _bare_words(self, text: str) -> list[str]:
        return say.without_authors(say.name_words(text), self.index.authors)

    def _is_code(self, text: str) -> bool:
        """Whether a text looks like a symbol, which is never read as a misspelling."""
        code = text.lower()
        return _CODE.fullmatch(code) is not None and (text.isupper() or code[-1].isdigit() or len(code) <= 4)


def _or(taxa: Taxa) -> str:
    return " or ".join(sorted(taxa))


def of_group(written: str, taxa: Taxa, natives: Taxa) -> str:
    """The reason for a name that stands for a genus or group; natives are told apart from the plants to treat."""
    parts = (("", taxa - natives), ("native: ", natives))
    named = " or ".join(f"{said}{', '.join(sorted(some))}" for said, some in parts if some)
    return f"species {written!r} is a group's name, no one plant: write which one ({named})"


def several(written: str, taxa: Taxa = frozenset()) -> str:
    """The reason for a cell with more than one plant."""
    named = f" ({', '.join(sorted(taxa))})" if taxa else ""
    return f"species {written!r} names more than one plant{named}: write one record for each"


def _with_words(written: str, taxa: Taxa) -> str:
    name = f"the name {_or(taxa)}" if len(taxa) < 4 else "a name"
    return f"species {written!r} holds more than {name}: write one name a record, the rest in the notes"
