"""What each table and each of its columns is, for whoever opens the workbook without this program's documents."""

from __future__ import annotations

import re
from typing import Final

from invasimap.reports.treatment_column_words import TREATMENT_COLUMNS, TREATMENT_SHEETS

SHEET_WORDS: Final = {
    "acreage": "Area by stand, species, zone and access. A spot with two species counts once in each.",
    "ground": "Area of infested ground by stand, zone and access: each spot once, however many species grow there.",
    "totals": "The whole tract, by species; the row without a species is all infested ground, each spot once.",
    "by_means": "The treatable part of the totals by the means that treats it; no species: the ground, each spot once.",
    "drivers": "What makes the ranges wide: each source's share, by species (none: all ground).",
    "treatment_zones": "The pieces that crews work: infested ground of one stand, zone and access; ids as on the maps.",
    "limits": "Infested ground open to spray, by what reaches it and what keeps it from a better means.",
    "parking": "Where to park for each treatment zone that a hose serves; stop 1 serves most.",
    "reach_gain": "What each change alone would add to, or take from, the ground that a means reaches.",
    "ledger": "What became of every record: records = accepted + repaired + set_aside.",
    "repaired": "Every record that was used after it was put right or filled in, and how.",
    "set_aside": "Every record that was not used, and why.",
    "columns": "What each column of each field file was taken for.",
    "photos": "Pictures and the patch nearest to each.",
    "internal": "This workbook shows confidential places.",
    **TREATMENT_SHEETS,
}
# by a column's name without its unit
COLUMN_WORDS: Final = {
    "stand": "the stand; (outside) is ground in no stand, never counted as treatable",
    "species": "scientific name; several are parted by semicolons",
    "zone": "open: may be sprayed as the label allows. hand_only: nothing leaves a nozzle held off the plant. "
    "no_spray: nothing is applied",
    "access": "the most capable means that reaches it: tractor, atv_hose (hose from an ATV), foot, out_of_reach",
    "patches": "how many patches lie there, wholly or in part",
    "gross": "ground under the patches",
    "infested": "ground times canopy cover",
    "treatable_gross": "gross, open, in a stand and reached by some means",
    "treatable_infested": "infested, open, in a stand and reached by some means",
    "ground": "infested ground, each spot once",
    "part": "all: the infested area; treatable: the part that is open and reached",
    "position": "share of the GPS positions",
    "size": "share of radii and widths that were paced or guessed",
    "cover": "share of the estimates of cover",
    "cell": "share of where the edge of access runs within a cell of the grid",
    "id": "the treatment zone's id",
    "tractor": "how much of it a tractor reaches",
    "atv_hose": "how much of it a hose from an ATV reaches",
    "foot": "how much of it a person on foot reaches",
    "limit": "what keeps it from a better means; empty: there is no better one",
    "open": "area that is open to spray",
    "hose_only": "of that, where the machine brings its hose and does not drive",
    "zone_id": "the treatment zone served",
    "stop": "1 is the best place; each next one serves most of what is left",
    "lat": "latitude, WGS 84",
    "lon": "longitude, WGS 84",
    "hose": "hose that the farthest spot takes, rounded up",
    "lift": "most that the nozzle stands above the pump, rounded up",
    "drop": "most that the nozzle stands below the pump, rounded up",
    "served": "what this place serves beyond the stops before it",
    "share": "share of what a hose reaches in the zone, rounded down",
    "change": "the change, made alone",
    "means": "which means it is for",
    "treatable_gain": "treatable ground gained (below zero: lost)",
    "tractor_gain": "ground gained for a tractor (below zero: lost)",
    "atv_hose_gain": "ground gained for a hose from an ATV (below zero: lost to a better means)",
    "foot_gain": "ground gained on foot (below zero: lost to a better means)",
    "file": "the file",
    "records": "records in the file",
    "accepted": "used as they are",
    "repaired": "used after being put right or filled in",
    "set_aside": "not used",
    "record": "number of the record in its file, from 1",
    "how": "what was put right or filled in",
    "reason": "why it was not used",
    "raw": "the record as it was read",
    "column": "the column's name in the file",
    "role": "what it was taken for",
    "unit": "the unit its values were read in",
    "recognised_by": "why",
    "patch": "the nearest patch's id; empty: none was near enough",
    "distance": "from the picture to the patch",
    "direction": "where the camera faced, degrees from north",
    "direction_ref": "north by which that is: true or magnetic",
    "taken": "when it was taken, local time",
    "internal": "what must not be done with it",
    "error": "how far off the picture's position may be",
    **TREATMENT_COLUMNS,
}
UNIT_WORDS: Final = {
    "ac": "acres", "ha": "hectares", "ft": "feet", "m": "metres", "pct": "percent", "deg": "degrees",
    "gal": "US gallons", "floz": "US fluid ounces", "l": "litres", "ml": "millilitres", "in": "inches",
    "mm": "millimetres", "lb": "pounds", "kg": "kilograms", "lb_per_ac": "pounds per acre",
    "kg_per_ha": "kilograms per hectare",
}  # fmt: skip
BOUND_WORDS: Final = {
    "low": "lower end of the 90 % range of: ", "high": "upper end of the 90 % range of: ",
}  # fmt: skip


_MONEY: Final = re.compile(r"(.*money(?:_low|_high|_known|_limit)?)_(?!low$)([a-z]{3})")


def column_words(name: str, *, sheet: str = "") -> str:
    """What a column is, with its unit; of a sheet that means something of its own by it, that.

    Raises
    ------
    KeyError
        For a column that nobody has described.

    Examples
    --------
    >>> column_words("gross_low_ac")
    'lower end of the 90 % range of: ground under the patches; acres'
    >>> column_words("atv_hose_ac")
    'how much of it a hose from an ATV reaches; acres'
    >>> column_words("travel_money_usd"), column_words("stop", sheet="parking")
    ('travel; USD', '1 is the best place; each next one serves most of what is left')
    """
    if name in COLUMN_WORDS or f"{sheet}.{name}" in COLUMN_WORDS:
        return _of_sheet(name, sheet)
    if money := _MONEY.fullmatch(name):
        return f"{_of_sheet(money[1], sheet)}; {money[2].upper()}"
    stem, unit = _parted(name, UNIT_WORDS)
    stem, bound = _parted(stem, BOUND_WORDS)
    return f"{BOUND_WORDS.get(bound, '')}{_of_sheet(stem, sheet)}; {UNIT_WORDS[unit]}"


def _of_sheet(stem: str, sheet: str) -> str:
    own = COLUMN_WORDS.get(f"{sheet}.{stem}")
    return COLUMN_WORDS[stem] if own is None else own


def _parted(name: str, endings: dict[str, str]) -> tuple[str, str]:
    """A name and which of some endings it has, the longest that it can be."""
    match = re.fullmatch(rf"(.+?)_({'|'.join(endings)})", name)
    return (match[1], match[2]) if match else (name, "")
