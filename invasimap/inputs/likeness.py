"""Misspelt plant names: the nearest names of a catalogue, and when one is near enough to be read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

SURE_SCORE: Final = 90.0  # percent likeness from which a misspelling is read as the name
CLEAR_LEAD: Final = 5.0  # by which the best name must lead the next plant
CLOSE_SCORE: Final = 75.0  # from which a name is too near to a listed one to be taken for another plant
WORD_SCORE: Final = 60.0  # under it two words are two words: a name that differs so in one is another plant's
SURE_WORD_SCORE: Final = 75.0
SHORTEST: Final = 5  # letters; anything is near to a shorter name
_LIMIT: Final = 40
# plants whose names are one or two letters from those of invaders: never read as a misspelling
_REAL_WORDS: Final = frozenset({
    "bayberry", "winterberry", "baneberry", "chokeberry", "gooseberry", "snowberry", "hackberry", "teaberry",
    "honeywort", "mudwort", "knotweed", "knapweed", "ragwort", "moneywort", "mugwort", "goldenrod", "bedstraw",
    "burnet", "parsley", "parsnip", "hawthorn", "buckthorn", "blackthorn", "dogwood", "redwood", "sumac", "rose",
    "pear", "peach", "plum", "olive", "maple", "walnut", "elder", "alder", "aspen", "poplar", "hemlock", "creeper",
    "bittersweet", "loosestrife", "hop", "hops", "bull", "tall", "red", "white", "black", "green", "yellow", "swamp",
    "glossy", "mossy", "wild", "lesser", "greater", "american", "virginia", "carolina", "canada", "northern",
    "southern", "eastern", "western", "bladdernut", "buttonbush", "spicebush", "sweetshrub", "arrowwood", "ninebark",
})  # fmt: skip


def nearest(words: list[str], choices: Mapping[str, frozenset[str]]) -> list[tuple[str, float, str]]:
    """Plants whose names are near to the words, the nearest first: plant, score (0-100) and the name that is near.

    Examples
    --------
    >>> nearest(["rosa", "multflora"], {"rosa multiflora": frozenset({"Rosa multiflora"})})[0][0]
    'Rosa multiflora'
    """
    text = " ".join(words)
    if len(text) < SHORTEST:
        return []
    best: dict[str, tuple[float, str]] = {}
    found = process.extract(text, choices.keys(), scorer=fuzz.ratio, limit=_LIMIT, score_cutoff=CLOSE_SCORE)
    for listed, score, _ in found:
        if _another_plant(words, listed.split()):
            continue
        for taxon in choices[listed]:
            best[taxon] = max(best.get(taxon, (0.0, "")), (score, listed))
    ranked = sorted(best.items(), key=lambda item: (-item[1][0], item[0]))
    return [(taxon, score, listed) for taxon, (score, listed) in ranked]


def is_sure(words: list[str], found: list[tuple[str, float, str]], vocabulary: frozenset[str]) -> bool:
    """Whether the first of what is ``nearest`` may be read: near, well before the next, with no word of another.

    Examples
    --------
    >>> is_sure(["winterberry"], [("Rubus phoenicolasius", 90.0, "wineberry")], frozenset())
    False
    """
    if not found or found[0][1] < SURE_SCORE:
        return False
    if len(found) > 1 and found[0][1] - found[1][1] < CLEAR_LEAD:
        return False
    text, listed = " ".join(words), found[0][2].split()
    if len(words) != len(listed) or OSA.distance(text, found[0][2]) > _most_typos(text):
        return False
    return all(
        one == two or (fuzz.ratio(one, two) >= SURE_WORD_SCORE and one not in vocabulary and one not in _REAL_WORDS)
        for one, two in zip(words, listed, strict=True)
    )


def _most_typos(text: str) -> int:
    return 1 if len(text) < 12 else 2 if len(text) < 20 else 3


def _pairs(words: list[str], listed: list[str]) -> list[tuple[str, str]]:
    """The words side by side; run together where one has more of them."""
    if len(words) == len(listed):
        return list(zip(words, listed, strict=True))
    return [("".join(words), "".join(listed))]


def _another_plant(words: list[str], listed: list[str]) -> bool:
    """Whether a word of one name is not nearly that of the other."""
    return any(fuzz.ratio(one, two) < WORD_SCORE for one, two in _pairs(words, listed))
