"""What a written plant name is made of: its words, and remarks, authors, doubts and lists told apart from them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

JOINER: Final = ";"  # between the names of one face of the mosaic: never part of a name
_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_INVISIBLE: Final = re.compile(r"[\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff\ud800-\udfff\ufffe\uffff]")
_HYBRID: Final = re.compile(
    "[\u00d7\u2715\u2716\u2717\u2718\u2a2f\u2a09\u2573]|(?<!\\w)\u0445(?!\\w)|(?<!\\w)\u0425(?!\\w)"
)
_QUOTES: Final = str.maketrans({**dict.fromkeys("\u2018\u2019\u02bc\u00b4`\u2032", "'"),
                                **dict.fromkeys("\u201c\u201d\u201e\u2033", '"')})  # fmt: skip
_DASHES: Final = re.compile("[\u2010-\u2015\u2212]")
_WORD: Final = re.compile(r"[^\W_]+")
_RANKS: Final = frozenset(
    {"x", "subsp", "ssp", "subspecies", "var", "variety", "f", "fo", "forma", "nothovar", "nothosubsp", "sp", "spp"}
)
_SPECIES_SIGN: Final = frozenset({"sp", "spp", "species"})

NONE_FOUND: Final = frozenset({
    "none", "n a", "not applicable", "nil", "0", "zero", "clear", "clean", "all clear", "absent", "nothing",
    "no", "no invasives", "nothing found", "nothing seen", "nothing here", "none found", "none seen", "none observed",
    "none present", "none here", "none detected", "not found", "not present", "not seen", "not detected",
    "not observed", "no plants", "no sign", "no signs", "no infestation", "no target", "no targets", "no detection",
    "no species", "no presence", "negative", "no find", "no finds", "surveyed none found", "no nnis", "no nis",
})  # fmt: skip
_NO_PLANTS: Final = re.compile(
    r"(?:no|none|zero|0|without) (?:\w+ ){0,3}(?:invasives?|weeds?|plants?|species|exotics?|targets?)(?: \w+){0,3}"
)
_ABSENT: Final = re.compile(
    r"(?:no|zero|0|without)\s+(?P<after>.+)"
    r"|(?P<before>.+?)[\s,:(-]+(?:none|absent|(?:not|none) (?:found|present|seen|here|detected|observed))\)?",
    re.I,
)
NOT_KNOWN: Final = frozenset({
    "unknown", "unk", "unkn", "ukn", "misc", "miscellaneous", "other", "others", "unidentified", "unid", "not known",
    "not sure", "unsure", "dont know", "do not know", "no idea", "no id", "no name", "no data", "not identified",
    "undetermined", "unspecified", "indet", "tbd", "to be determined", "null", "nan", "na", "species", "sp", "spp",
    "invasive", "invasives", "invasive species", "exotic", "exotics", "weed", "weeds", "plant", "plants", "shrub",
    "shrubs", "bush", "bushes", "tree", "trees", "vine", "vines", "herb", "herbs", "grass", "grasses", "forb", "forbs",
    "fern", "ferns", "brush", "seedling", "seedlings", "sapling", "saplings", "tbc", "not recorded", "invasive plant",
    "invasive plants", "invasive shrub", "invasive vine", "invasive grass", "native", "natives",
})  # fmt: skip
_SHEET_ERROR: Final = re.compile(r"#(?:N/A|REF!?|VALUE!?|NAME\??|NULL!?|DIV/0!?|NUM!?)", re.I)
_STARTS_UNKNOWN: Final = re.compile(r"(?:unknown|unk|unidentified|unid|undetermined|other|misc)\b", re.I)
MIXED: Final = frozenset({
    "mixed", "mix", "various", "multiple", "several", "many", "mixed species", "multiple species", "various species",
    "several species", "mixed invasives", "various invasives", "multiple invasives", "mixed shrubs", "mixed brush",
})  # fmt: skip
_REMARKS: Final = frozenset({
    "seedling", "seedlings", "sapling", "saplings", "sprout", "sprouts", "resprout", "resprouts", "regrowth",
    "rosette", "rosettes", "plant", "plants", "patch", "patches", "thicket", "thickets", "stand", "clump", "clumps",
    "stem", "stems", "shrub", "shrubs", "vine", "vines", "tree", "trees", "bush", "bushes", "dense", "sparse",
    "scattered", "mature", "young", "small", "large", "big", "tall", "single", "few", "many", "some", "adult",
    "adults", "juvenile", "flowering", "fruiting", "infestation", "population", "isolated", "the", "a", "individual",
    "individuals", "mostly", "heavy", "light", "moderate", "medium",
})  # fmt: skip
_NUMBER: Final = re.compile(r"(?:#|no\.)?\d{1,4}[.)]?", re.I)  # of a waypoint or a list
_ORIGIN: Final = frozenset({"invasive", "exotic", "alien", "introduced", "nonnative", "asian", "asiatic"})
_NATIVE: Final = re.compile(r"(?<!non-)(?<!non )(?<!\w)natives?(?!\w)", re.I)
_NON_NATIVE: Final = re.compile(r"(?<!\w)(?:non[- ]?|not )native(?!\w)", re.I)
_DOUBT: Final = re.compile(
    r"[(\[]\s*\?+\s*[)\]]|\?+|(?<!\w)(?:cf|confer|prob|poss)(?:\.|(?!\w))"
    r"|(?<!\w)(?:possibl[ey]|probabl[ey]|maybe|perhaps|likely|suspected|suspect|unsure|uncertain|not sure|tentative"
    r"|tentatively|looks like|might be|could be)(?!\w)",
    re.I,
)
_AKIN: Final = re.compile(r"(?<!\w)(?:aff|nr|affinis)(?:\.|(?!\w))", re.I)
_CONNECTIVES: Final = frozenset({"ex", "in", "et", "and", "al", "fil", "de", "da", "von", "van", "der", "emend", "agg"})
_YEAR: Final = re.compile(r"(?:1[78]|19|20)\d\d")
_CULTIVAR: Final = re.compile(
    r"(?<!\w)(?:'(?P<one>[A-Z][^']*)'|\"(?P<two>[A-Z][^\"]*)\"|cv\.? ?'?(?P<three>[A-Z]\w+)'?)(?!\w)"
)
_SPLITS: Final = (  # pattern and whether what it parts is a list of plants rather than names of one
    (re.compile(r"\s*[|=\n]\s*|\s+-+\s+|\s*:\s+|\s+(?:aka|syn|synonym|a\.k\.a)\b\.?\s*", re.I), False),
    (re.compile(r"\s*[()\[\]{}\"]+\s*"), False),
    (re.compile(r"\s*[;/+&\\]\s*|\s+(?:and|or|plus|with|w|mixed with)\s+", re.I), True),
    (re.compile(r"\s*,\s*"), False),
    (re.compile(r"\s*-\s*"), False),
)


@dataclass(frozen=True, kw_only=True)
class Parts:
    """A text parted at one kind of sign; ``listing`` says that the sign joins several plants ("and", "/")."""

    texts: tuple[str, ...]
    listing: bool
    glued: bool = False


def plain_name(text: str) -> str:
    """A written name without line breaks and other signs that files and screens cannot hold, or joiners at its ends.

    Examples
    --------
    >>> plain_name("Rosa\\nmultiflora;")
    'Rosa multiflora'
    """
    return _INVISIBLE.sub("", _CONTROL.sub(" ", text)).strip(f"{JOINER} ")


def tidy(text: str) -> str:
    """A name with one kind of quote, dash and hybrid sign (x) and single spaces; upper and lower case are kept.

    Examples
    --------
    >>> tidy("Lonicera_\u00d7bella"), tidy("Morrow\u2019s  honeysuckle")
    ('Lonicera x bella', "Morrow's honeysuckle")
    """
    text = unicodedata.normalize("NFKC", text).translate(_QUOTES).replace("_", " ")
    text = _DASHES.sub("-", _HYBRID.sub(" x ", text))
    text = re.sub(r"\s+(?=[)\],;])", "", " ".join(text.split()).strip(" ,.;:/|-+&=*#"))
    return text[1:-1].strip() if len(text) > 2 and text[0] == text[-1] and text[0] in "'\"" else text


def name_words(text: str) -> list[str]:
    """The words that tell one name from another: lower case, no accents, hybrid signs, ranks, "sp." or apostrophes.

    Examples
    --------
    >>> name_words("Lonicera X bella"), name_words("Centaurea stoebe ssp. micranthos"), name_words("Rosa sp.")
    (['lonicera', 'bella'], ['centaurea', 'stoebe', 'micranthos'], ['rosa'])
    """
    plain = text.casefold().replace("'", "")
    words = _WORD.findall(plain if plain.isascii() else _without_accents(plain))
    while len(words) > 1 and (words[-1] in _SPECIES_SIGN or (words[-2] in _SPECIES_SIGN and words[-1].isdigit())):
        words.pop()
    return [words[0], *(word for word in words[1:] if word not in _RANKS)] if words else []


def _without_accents(text: str) -> str:
    return "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))


def name_key(text: str) -> str:
    """The words of a name run together, so that spaces and hyphens do not matter ("stilt grass", "stiltgrass")."""
    return "".join(name_words(text))


def singular(word: str) -> str:
    """An English plant word in the singular.

    Examples
    --------
    >>> [singular(word) for word in ("honeysuckles", "berries", "bushes", "grass", "roses")]
    ['honeysuckle', 'berry', 'bush', 'grass', 'rose']
    """
    if len(word) > 4 and word.endswith("ies"):
        return f"{word[:-3]}y"
    if len(word) > 5 and word.endswith(("shes", "ches", "sses")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


def spelt_otherwise(epithet: str) -> str:
    """An epithet without the endings that are often mixed up: -us, -a, -um, -is, -e, and -i for -ii.

    Examples
    --------
    >>> spelt_otherwise("alata") == spelt_otherwise("alatus"), spelt_otherwise("maacki") == spelt_otherwise("maackii")
    (True, True)
    """
    return re.sub(r"i+$", "i", re.sub(r"(?<=\w\w\w)(?:us|um|a|is|e)$", "", epithet))


def said_absent(text: str) -> bool:
    """Whether a text says that there is nothing: "none", "no invasives", "nothing found"."""
    words = " ".join(name_words_kept(text))
    if text.startswith("#"):  # a spreadsheet's error, such as #N/A, says nothing of the ground
        return False
    return words in NONE_FOUND or _NO_PLANTS.fullmatch(words) is not None


def absent_name(text: str) -> str:
    """The plant that a text says is not there ("no honeysuckle", "ROMU - none"), or nothing."""
    found = _ABSENT.fullmatch(text)
    return (found["after"] or found["before"]).strip(" -,:(") if found else ""


def said_unknown(text: str) -> bool:
    """Whether a text says that the plant is not known: "unknown shrub", "?", "misc", or signs without a letter."""
    words = " ".join(name_words_kept(text))
    if _SHEET_ERROR.fullmatch(text):
        return True
    return words in NOT_KNOWN or _STARTS_UNKNOWN.match(text) is not None or not any(sign.isalpha() for sign in text)


def said_mixed(text: str) -> bool:
    """Whether a text says only that there are several plants."""
    return " ".join(name_words_kept(text)) in MIXED


def name_words_kept(text: str) -> list[str]:
    """All words of a text, lower case."""
    return _WORD.findall(text.casefold().replace("'", ""))


def without_doubt(text: str) -> tuple[str, str]:
    """A text without "cf.", "?" and words of doubt, and those words."""
    doubts = [found.group().strip() for found in _DOUBT.finditer(text)]
    return (tidy(_DOUBT.sub(" ", text)), " ".join(doubts)) if doubts else (text, "")


def is_qualified(text: str) -> bool:
    """Whether a text says that its name is not sure."""
    return bool(_DOUBT.search(text) or _AKIN.search(text))


def without_akin(text: str) -> str:
    """A text without "aff.", or nothing where it has none."""
    return tidy(_AKIN.sub(" ", text)) if _AKIN.search(text) else ""


def without_native(text: str) -> str:
    """A text without the word "native", or nothing where it has none ("non-native" has none)."""
    bare = _NON_NATIVE.sub(" ", text)
    return tidy(_NATIVE.sub(" ", bare)) if _NATIVE.search(bare) else ""


def without_origin(text: str) -> str:
    """A text without "invasive", "exotic", "non-native" and such before the name."""
    words = tidy(_NON_NATIVE.sub(" ", text)).split()
    return " ".join(word for word in words if word.casefold() not in _ORIGIN)


def without_remarks(text: str) -> tuple[str, str]:
    """A text without words of size, stage and number ("dense", "seedlings", "#3"), and those words."""
    words = text.split()
    said = [word for word in words if _is_remark(word)]
    return tidy(" ".join(word for word in words if not _is_remark(word))), " ".join(w.strip(".,()") for w in said)


def _is_remark(word: str) -> bool:
    return word.casefold().strip(".,()") in _REMARKS or _NUMBER.fullmatch(word) is not None


def without_cultivar(text: str) -> tuple[str, str]:
    """A text without the cultivar in quotes at its end, and the cultivar."""
    found = _CULTIVAR.search(text)
    if found is None or len(text[: found.start()].split()) < 2:
        return text, ""
    name = found["one"] or found["two"] or found["three"]
    return tidy(text[: found.start()] + " " + text[found.end() :]), name


def is_author(word: str, authors: frozenset[str]) -> bool:
    """Whether a lower-case word after a name belongs to its author: a known name, an initial, "ex" or a year."""
    return (
        word in authors
        or word in _CONNECTIVES
        or (len(word) == 1 and word.isalpha())
        or _YEAR.fullmatch(word) is not None
    )


def without_authors(words: list[str], authors: frozenset[str]) -> list[str]:
    """The words of a name without authors and years; a last word that repeats the epithet goes too."""
    left = words[:2] + [word for word in words[2:] if not is_author(word, authors)]
    return left[:2] if len(left) == 3 and left[1] == left[2] else left


def authors_in(cells: Iterable[str]) -> frozenset[str]:
    """The author's words in cells such as "(Rupr.) Herder"."""
    return frozenset(word for cell in cells for word in name_words(cell) if len(word) > 1) - _CONNECTIVES


def split_name(text: str) -> Iterator[Parts]:
    """The parts of a text at each kind of sign that it holds, the signs between names of one plant first.

    Examples
    --------
    >>> next(split_name("Amur honeysuckle (Lonicera maackii)")).texts
    ('Amur honeysuckle', 'Lonicera maackii')
    """
    last = len(_SPLITS) - 1
    for number, (pattern, listing) in enumerate(_SPLITS):
        texts = tuple(part for piece in pattern.split(text) if (part := tidy(piece)))
        if len(texts) > 1:
            yield Parts(texts=texts, listing=listing, glued=number == last)
