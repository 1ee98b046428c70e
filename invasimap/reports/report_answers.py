"""The first page of the report: the answers in a landowner's words, and the figures of its two small tables."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from invasimap.land.words import OUTSIDE, RESTRICTED
from invasimap.prescription.plan import Plan
from invasimap.reports.answers import Answers
from invasimap.reports.off_limits import by_kind
from invasimap.reports.range_tables import infested_range, means_range
from invasimap.reports.sheet import survey_dates
from invasimap.reports.web_patches import ACCESS, patch_pieces
from invasimap.reports.wording import (
    OUTCOME_NOTES,
    OUTCOME_WORDS,
    OUTCOMES,
    TREATABLE,
    UNIT_WORDS,
    limit_words,
    rows_of,
    shown_area,
    shown_share,
)

MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
MOST_SPECIES: Final = 8  # rows of one printed page
MOST_KINDS: Final = 5
MOST_UNKNOWN: Final = 5
MOST_LETTERS: Final = 30  # of a name on that page; the tables have all of it
KIND_LETTERS: Final = 26
MOST_NAME: Final = 120


@dataclass(frozen=True, kw_only=True)
class OutcomeLine:
    """What can be done with a part of the infested ground: ``name`` is one of ``OUTCOMES``."""

    name: str
    words: str
    area: str
    spread: str
    share: str
    note: str
    treatable: bool


@dataclass(frozen=True, kw_only=True)
class SpeciesLine:
    """A species' treatable ground, what its plants cover of that, and what each means reaches; areas as text.

    ``outcomes_m2`` splits all the ground it stands on by what can be done.
    """

    common: str
    latin: str
    treatable: str
    treatable_range: str
    infested: str
    infested_range: str
    means: list[str]
    outcomes_m2: dict[str, float]


@dataclass(frozen=True, kw_only=True)
class Box:
    """A part of the page with a heading: lines of text, and a small table (its first row are the heads)."""

    id: str
    heading: str
    lines: list[str]
    table: list[list[str]]
    caption: str = ""


def said_area(square_metres: float, plan: Plan) -> str:
    """An area with its unit in full, such as ``21.17 acres``."""
    return f"{shown_area(square_metres, plan.shown, unit=False)} {UNIT_WORDS[plan.shown.area]}"


def first_letters(text: str, most: int = MOST_LETTERS) -> str:
    """A text in at most so many letters; what was left off, within a word too, shows as an ellipsis.

    Examples
    --------
    >>> first_letters("autumn-olive", 8), first_letters("tree of heaven", 6), first_letters("privet", 8)
    ('autumn-…', 'tree…', 'privet')
    """
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def said_day(text: str) -> str:
    """A day as people write it, month by name, so that no two countries read it apart.

    Examples
    --------
    >>> said_day("2025-09-09"), said_day("date not known")
    ('9 September 2025', 'date not known')
    """
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return text
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def said_dates(plan: Plan) -> str:
    """When the survey was made, from its first to its last day."""
    first, *last = survey_dates(plan).split(" to ")
    return f"Survey of {' to '.join(map(said_day, [first, *last]))}" if first[:1].isdigit() else f"Survey {first}"


def grave(plan: Plan) -> list[str]:
    """What forbids the use of the page as it is."""
    return [f"Check failed: {check.name}. Do not use these figures." for check in plan.checks if not check.passed]


def lead(plan: Plan, found: Answers) -> list[list[tuple[str, bool]]]:
    """The page's first sentences, each in pieces of text and whether they stand out."""
    if not found.patches:
        none = "No invasive plants are on the map of this tract."
        return [[(none, True)], [("That is no proof that there are none: see what is not known.", False)]]
    kinds = "1 species" if len(found.species) == 1 else f"{len(found.species):,} species"
    patches = "1 patch" if found.patches == 1 else f"{found.patches:,} patches"
    whole, treatable = found.infested_ground_m2, found.treatable_m2
    first = [
        ("Invasive plants stand on ", False), (said_area(whole, plan), True),
        (f"{_within(plan, 'gross')} of this tract: {patches} of {kinds}.", False),
    ]  # fmt: skip
    second = [
        (said_area(treatable, plan), True), (f"{_within(plan, 'treatable_gross')} of that can be treated", True),
        (" with the means at hand.", False),
    ]  # fmt: skip
    return [first, second, *_closed_lead(plan, found)]


def _within(plan: Plan, part: str) -> str:
    spread = infested_range(plan, part)
    return f" ({spread})" if spread else ""


def _closed_lead(plan: Plan, found: Answers) -> list[list[tuple[str, bool]]]:
    """What cannot be treated, in a sentence."""
    said = {
        "no_spray": " are off limits to any spray", "hand_only": " may be worked by hand only",
        "out_of_reach": " are out of reach of every means at hand",
    }  # fmt: skip
    parts = [name for name in said if found.ground_m2[name] > 0]
    pieces = list[tuple[str, bool]]()
    for number, name in enumerate(parts):
        joint = "" if number == 0 else " and " if number == len(parts) - 1 else ", "
        pieces += [(joint, False), (said_area(found.ground_m2[name], plan), True), (said[name], False)]
    return [[*pieces, (".", False)]] if pieces else []


def outcome_lines(plan: Plan, found: Answers) -> list[OutcomeLine]:
    """What can be done, with area, share and meaning; all of them, so that a zero is seen as a zero."""
    return [
        OutcomeLine(
            name=name, words=OUTCOME_WORDS[name], area=shown_area(found.ground_m2[name], plan.shown, unit=False),
            spread=means_range(plan, name),
            share=shown_share(found.ground_m2[name], found.infested_ground_m2), note=OUTCOME_NOTES[name],
            treatable=name in TREATABLE,
        )
        for name in OUTCOMES
    ]  # fmt: skip


def species_lines(plan: Plan, found: Answers) -> list[SpeciesLine]:
    """The species with the most treatable ground; where there are more than fit, the last line is the rest."""
    totals = plan.totals.set_index("species") if len(plan.totals) else plan.totals
    table = found.species.assign(treatable=found.species[list(TREATABLE)].sum(axis=1))
    table = table.sort_values(["treatable", "gross_m2", "species"], ascending=[False, False, True], kind="stable")
    most = MOST_SPECIES - _rows_taken(plan)
    shown = table if len(table) <= most + 1 else table.iloc[:most]
    lines = [_species_line(row, totals.loc[row["species"]], plan) for _, row in shown.iterrows()]
    rest = table.iloc[len(shown) :]
    return lines + ([_rest_line(rest, totals, plan)] if len(rest) else [])


def _species_line(row: Any, total: pd.Series, plan: Plan) -> SpeciesLine:
    def figures(name: str) -> tuple[str, str]:
        low, high = (float(total[f"{name}_{end}_m2"]) for end in ("low", "high"))
        spread = "" if pd.isna(low) else f"{_area(low, plan)} to {_area(high, plan)}"
        return _area(float(total[f"{name}_m2"]), plan), spread

    (treatable, spread), (infested, infested_spread) = figures("treatable_gross"), figures("treatable_infested")
    latin = str(row["species"])
    common = str(row["common_name"] or "")
    return SpeciesLine(
        common=first_letters(common), latin=first_letters(latin), treatable=treatable, treatable_range=spread,
        infested=infested, infested_range=infested_spread, means=[_area(row[name], plan) for name in TREATABLE],
        outcomes_m2={name: float(row[name]) for name in OUTCOMES},
    )  # fmt: skip


def _rest_line(rest: pd.DataFrame, totals: pd.DataFrame, plan: Plan) -> SpeciesLine:
    """The species that do not fit, added up; their ranges do not add up, so there is none."""
    infested = float(totals.loc[list(rest["species"]), "treatable_infested_m2"].sum())
    return SpeciesLine(
        common=f"{len(rest)} more species, together", latin="", treatable=_area(rest["treatable"].sum(), plan),
        treatable_range="", infested=_area(infested, plan), infested_range="",
        means=[_area(rest[name].sum(), plan) for name in TREATABLE],
        outcomes_m2={name: float(rest[name].sum()) for name in OUTCOMES},
    )  # fmt: skip


def boxes(plan: Plan, found: Answers, closed: pd.DataFrame) -> list[Box]:
    """The rest of the page; a further answer of a Plan is one more function here, that gives None where it has none."""
    parts = (_closed_box(plan, found, closed), _reach_box(plan, found), _unknown_box(plan))
    return [part for part in parts if part is not None]


def _closed_box(plan: Plan, found: Answers, closed: pd.DataFrame) -> Box | None:
    if not found.patches:
        return None
    kinds = by_kind(closed)
    if kinds.empty:
        lines = ["None of the infested ground lies within a distance that was typed for a protected feature."]
        return Box(id="closed", heading="What is off limits, and why", lines=lines, table=[])
    most = MOST_KINDS - _rows_taken(plan) // 2
    shown = kinds.iloc[: most if len(kinds) > most + 1 else len(kinds)]
    rest = kinds.iloc[len(shown) :]
    rows = [
        [first_letters(str(row.kind), KIND_LETTERS), _area(row.no_spray, plan), _area(row.hand_only, plan)]
        for row in rows_of(shown)
    ]
    if len(rest):
        rows.append([f"{len(rest)} more kinds", *(_area(rest[name].sum(), plan) for name in ("no_spray", "hand_only"))])
    unit = UNIT_WORDS[plan.shown.area]
    lines = []
    if RESTRICTED in set(kinds["kind"]):
        lines.append("Restricted ground is drawn wider than what it protects, so that what lies in it stays unknown.")
    heads = ["Near", "No spray", "By hand"]
    return Box(
        id="closed", heading="What is off limits, and why", lines=lines,
        caption=f"Infested {unit} near what is protected", table=[heads, *rows],
    )  # fmt: skip


def _reach_box(plan: Plan, found: Answers) -> Box | None:
    if not found.patches:
        return None
    far = unreached(plan)
    if far is None:
        return None
    lines = [_reach_line(*far, found.patches)]
    beyond = plan.limits[plan.limits["access"] == "out_of_reach"].sort_values("open_m2", ascending=False, kind="stable")
    reasons = [
        f"{limit_words(str(row.limit), 'out_of_reach')} ({said_area(row.open_m2, plan)})"
        for row in rows_of(beyond.iloc[:3])
        if row.limit
    ]
    if reasons:
        lines.append(f"Why ground that is open to spray is out of reach: {'; '.join(reasons)}.")
    return Box(id="unreached", heading="What nobody can reach", lines=lines, table=[])


def _reach_line(nowhere: int, part: int, whole: int) -> str:
    """How many patches nobody can reach, in a sentence."""
    if not nowhere:
        return "Every patch in a stand can be reached" + (f", but {part:,} of them only in part." if part else ".")
    also = f"; {part:,} more can be reached only in part." if part else "."
    return f"Nobody can reach {'the one patch' if whole == 1 else f'{nowhere:,} of the {whole:,} patches'}{also}"


def unreached(plan: Plan) -> tuple[int, int] | None:
    """How many patches no means reaches at all, and how many it reaches in part; what lies in no stand is left out.

    None where no patch lies in any stand: whether it can be reached was not worked out.
    """
    pieces = patch_pieces(plan)
    inside = pieces[pieces["stand"] != OUTSIDE]
    if inside.empty:
        return None
    far = (inside["access_code"] == ACCESS.index("out_of_reach")).groupby(inside["patch"])
    return int(far.all().sum()), int((far.any() & ~far.all()).sum())


def _unknown_box(plan: Plan) -> Box:
    return Box(id="not-known", heading="What is not known", lines=unknown_lines(plan)[:MOST_UNKNOWN], table=[])


def unknown_lines(plan: Plan) -> list[str]:
    """What the figures do not say, in a line each, gravest first."""
    lines = []
    if plan.terrain.flat:
        lines.append("There is no elevation data: how steep the ground is is not known, and level ground was assumed.")
    blind = float(plan.limits.loc[plan.limits["limit"] == "unknown", "open_m2"].sum())
    if blind > 0:
        lines.append(f"{said_area(blind, plan)} of infested ground have no elevation data and count as out of reach.")
    aside = int(plan.ledger["set_aside"].sum()) if len(plan.ledger) else len(plan.set_aside)
    if aside:
        records = "1 record of the survey" if aside == 1 else f"{aside:,} records of the survey"
        lines.append(f"{records} could not be used and {'is' if aside == 1 else 'are'} in no figure; see Records.")
    outside = plan.ground[plan.ground["stand"] == OUTSIDE]
    if (outside["ground_m2"] > 0).any():
        area, kept = (
            said_area(float(rows["ground_m2"].sum()), plan)
            for rows in (outside, outside[outside["zone"] == "no_spray"])
        )
        lines.append(
            f"{area} of infested ground lie outside every stand ({kept} within a no-spray distance, where they are "
            "counted); none of it is in a treatable figure."
        )
    lines.append("Ground that nobody surveyed is unknown, not clear.")
    return lines


def restricted_lines(plan: Plan) -> list[str]:
    """What must be said of ground that hides what it protects."""
    if not (plan.protection["kind"] == RESTRICTED).any():
        return []
    return [
        "Some ground is restricted: closed to spray, drawn wider than what it protects, and shifted, so that what "
        "lies in it cannot be placed. Less is treatable than with the places known."
    ]


def means_heads() -> list[str]:
    """Heads of what each means reaches."""
    return [{"tractor": "By tractor", "atv_hose": "By hose", "foot": "On foot"}[name] for name in TREATABLE]


def _rows_taken(plan: Plan) -> int:
    """Rows that a season's answers take from the page's tables, more of them where it begins with stamps or alarms."""
    if not len(plan.treatment.work):
        return 0
    return 4 if grave(plan) or plan.internal or plan.settings.tried else 2


def _area(square_metres: float, plan: Plan) -> str:
    return shown_area(float(square_metres), plan.shown, unit=False)
