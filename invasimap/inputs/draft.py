"""From what was found in a folder to the text of a first ``tract.toml``; no distance and no limit is ever guessed."""

from __future__ import annotations

import glob
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from invasimap.core.errors import Fault
from invasimap.core.legible import visible
from invasimap.inputs.draft_blocks import ACCESS, EMERGENCY, INTAKE, OUTPUTS, RANGES, WORK, confidential_block
from invasimap.inputs.folder import Finding
from invasimap.inputs.sniff import LayerFacts, LonLatBounds, RasterFacts

_ONE_OF_EACH: Final = ("ways", "entries", "open_ground", "barriers", "wet_ground", "crossings", "elevation")
_NEAR_DEG: Final = 0.08  # from the stands' bounds: under 10 km, from which a layer counts as misplaced
_UNITS: Final = frozenset({
    "metre", "meter", "metres", "meters", "m", "foot", "feet", "ft", "us-ft", "ftus", "us survey foot",
    "us_survey_foot",
})  # fmt: skip
_LABEL: Final = "# type this from your label or rule"
_LISTED: Final = 8
_TOP: Final = """\
# A first draft, written by `invasimap start`. Every guess says why it was made: read each one.
#
# NOTHING IS PROTECTED until you fill in the [[protect]] blocks below: take the # from the lines of each block and type
# its no_spray distance from your label or rule. No distance is guessed, and no kind of feature is known to be complete:
# add what is on the ground and in no file.
# NOTHING IS REACHED until you fill in the [access.*] sections: they say what your machines and people can do.
# The product label is the law.
"""


@dataclass(frozen=True, kw_only=True)
class Draft:
    """The text of a ``tract.toml``, and what keeps it from being planned."""

    text: str
    faults: tuple[Fault, ...]


@dataclass(frozen=True, kw_only=True)
class Settled:
    """Findings with their place in the draft: ``off`` says, by number of the finding, why it is not used as it is."""

    found: tuple[Finding, ...]
    off: dict[int, str]

    def of(self, kind: str) -> list[Finding]:
        """Findings of a kind that are used."""
        return [f for k, f in enumerate(self.found) if f.guess.kind == kind and k not in self.off]


def settle(found: list[Finding]) -> Settled:
    """Which findings are used: one layer of stands, one of each kind of ground, no survey that brings others along."""
    off: dict[int, str] = {}
    numbered = list(enumerate(found))
    stands = [k for k, f in numbered if f.guess.kind == "stands"]
    off |= {k: why for k in stands if (why := _unfit(found[k], near=None))}
    fit = sorted((k for k in stands if k not in off), key=lambda k: (not found[k].guess.named, k))
    off |= dict.fromkeys(fit[1:], "another layer is taken for the stands")
    near = facts.bounds if fit and (facts := found[fit[0]].facts) else None
    off |= {k: why for k, f in numbered if f.guess.kind in (*_ONE_OF_EACH, "protect") and (why := _unfit(f, near=near))}
    for kind in _ONE_OF_EACH:
        same = [k for k, f in numbered if f.guess.kind == kind and k not in off]
        off |= dict.fromkeys(sorted(same, key=lambda k: (not found[k].guess.named, k))[1:], _second(kind))
    return Settled(found=tuple(found), off=off)


def draft(settled: Settled, *, title: str, folder: str, path_of: Callable[[str], str]) -> Draft:
    """The text of a settings file.

    Parameters
    ----------
    settled
        What was found, and what of it is used.
    title
        The tract's name.
    folder
        The folder looked at, for messages.
    path_of
        Gives a file's path as the settings file has to write it.
    """
    writer = _Writer(path_of)
    parts = [
        _TOP,
        f'[tract]\nname = {quoted(title)}\nunits = "us"                         # or "metric"\n'
        '# timezone = "America/New_York"     # yours; without it times become dates in UTC',
        *_survey_parts(settled, writer),
        *(writer.pictures(finding) for finding in settled.of("photos")),
        _stands_part(settled, writer),
        *(writer.protect(f, settled.off.get(k)) for k, f in enumerate(settled.found) if f.guess.kind == "protect"),
        _confidential_part(settled),
        _land_part(settled, writer),
        *(writer.ways(f) for f in settled.of("ways")),
        *(f"{_why(f)}\n[entries]\n{writer.layer(f)}" for f in settled.of("entries")),
        ACCESS,
        WORK,
        RANGES,
        INTAKE,
        OUTPUTS,
        EMERGENCY,
        _unused_part(settled),
    ]
    return Draft(text="\n\n".join(part.strip("\n") for part in parts if part) + "\n", faults=_faults(settled, folder))


def quoted(text: str) -> str:
    """A text as a TOML string; quotes, backslashes and signs that cannot be seen are escaped, so it stays on its line.

    Examples
    --------
    >>> print(quoted('a "b"\\n[c]'))
    "a \\"b\\"\\u000a[c]"
    """
    return '"' + "".join(f"\\{sign}" if sign in '"\\' else visible(sign) for sign in text) + '"'


def place_of(finding: Finding) -> str:
    """File and layer, for a comment or a screen."""
    return visible(f"{finding.file}:{finding.layer}" if finding.layer else finding.file)


def _unfit(finding: Finding, *, near: LonLatBounds | None) -> str:
    """Why a layer of land would be refused, or ""."""
    facts, kind = finding.facts, finding.guess.kind
    if facts is None:
        return ""
    raster = isinstance(facts, RasterFacts)
    lost = 0 if isinstance(facts, RasterFacts) else facts.lost
    no_unit = isinstance(facts, RasterFacts) and facts.unit.lower() not in _UNITS
    no_column = kind in ("stands", "ways") and not finding.guess.column
    far = (
        near is not None
        and facts.bounds is not None
        and not _close(facts.bounds, near, within=0 if raster else _NEAR_DEG)
    )
    checks = {
        f'no coordinate reference system: set {"elevation_crs" if raster else "crs"} = "EPSG:…"': not facts.has_crs,
        f"{lost} of its records have no usable shape: mend them": lost > 0,
        'the raster does not say the unit of its heights: set elevation_unit = "m", "ft" or "us-ft"': no_unit,
        "no column without blanks names its features or their class": no_column,
        "does not come to the stands: check its coordinate reference system": far,
    }
    return "; ".join(text for text, failed in checks.items() if failed)


def _close(bounds: LonLatBounds, near: LonLatBounds, *, within: float) -> bool:
    apart = (near[0] - bounds[2], bounds[0] - near[2], near[1] - bounds[3], bounds[1] - near[3])
    return max(apart) <= within


def _second(kind: str) -> str:
    return f"another is taken for {kind.replace('_', ' ')}, and only one can be named: join them if both count"


def _survey_parts(settled: Settled, writer: _Writer) -> list[str]:
    """One block for each folder of survey files, so that a crew or a day can be told apart; a file that also holds
    other layers has its own, which names those of the survey."""
    mixed = {finding.file for finding in settled.found if finding.guess.kind != "survey"}
    blocks: dict[tuple[str, bool], list[Finding]] = {}
    for finding in settled.of("survey"):
        place = finding.file if finding.file in mixed else finding.file.rpartition("/")[0]
        blocks.setdefault((place, _has_crs(finding)), []).append(finding)
    if not blocks:
        return ["# NO SURVEY WAS FOUND. Name its files:\n# [[survey]]\n# files = []"]
    return [
        writer.survey(place.rpartition("/")[0] if place in mixed else place, found, only=place in mixed)
        for (place, _), found in blocks.items()
    ]


def _stands_part(settled: Settled, writer: _Writer) -> str:
    stands = settled.of("stands")
    if not stands:
        return '# NO STANDS WERE FOUND. Name the polygons of your stands:\n# [stands]\n# file = ""\n# id = ""'
    return f"{_why(stands[0])}\n[stands]\n{writer.layer(stands[0])}\nid = {quoted(stands[0].guess.column)}"


def _land_part(settled: Settled, writer: _Writer) -> str:
    lines = []
    for kind in ("elevation", "open_ground", "barriers", "wet_ground", "crossings"):
        for number, finding in enumerate(settled.found):
            if finding.guess.kind == kind:
                why = settled.off.get(number, "")
                lines += [_why(finding), *([f"# not used: {why}"] if why else [])]
                lines += ["# it only stops machines: if spray must stay off it, give it a [[protect]] block too"] * (
                    kind == "wet_ground"
                )
                lines.append(f"{'# ' if why else ''}{writer.land(kind, finding)}")
    return "\n".join(["[land]", *lines]) if lines else "# No elevation and no land layers were found.\n# [land]"


def _unused_part(settled: Settled) -> str:
    lines = ["# ---- files that are not used ----"]
    for number, finding in enumerate(settled.found):
        why = settled.off.get(number, "")
        if finding.guess.kind == "unknown":
            lines.append(f"# not used: {place_of(finding)}: {visible(finding.guess.reason)}")
        elif why and finding.guess.kind not in ("protect", "elevation"):
            lines.append(f"# not used: {place_of(finding)}: seems to be {finding.guess.label}, but {why}")
    return "\n".join(lines) if len(lines) > 1 else ""


def _faults(settled: Settled, folder: str) -> tuple[Fault, ...]:
    mends = {
        "stands": "add the polygons of your stands, with a column that names each",
        "survey": "add what the crews mapped, with a column that names the species",
    }
    faults = []
    for kind, mend in mends.items():
        if not settled.of(kind):
            tried = [
                f"{place_of(f)}: {settled.off[k]}"
                for k, f in enumerate(settled.found)
                if f.guess.kind == kind and k in settled.off
            ]
            what = f"no {kind} found" + (f" ({'; '.join(tried)})" if tried else "")
            faults.append(Fault(where=folder, what=what, mend=mend))
    return tuple(faults)


def _why(finding: Finding) -> str:
    return f"# {place_of(finding)}: {finding.guess.label}: {visible(finding.guess.reason)}"


def _confidential_part(settled: Settled) -> str:
    """Words to hide confidential features by, put to use where there may be some."""
    return confidential_block(used=any(finding.guess.confidential for finding in settled.found))


@dataclass(frozen=True)
class _Writer:
    """Writes blocks with paths as the settings file needs them."""

    path_of: Callable[[str], str]

    def file(self, finding: Finding) -> str:
        return quoted(self.path_of(finding.file))

    def layer(self, finding: Finding) -> str:
        lines = [f"file = {self.file(finding)}"]
        return "\n".join(lines + ([f"layer = {quoted(finding.layer)}"] if finding.layer else []))

    def survey(self, place: str, found: list[Finding], *, only: bool) -> str:
        names = list(dict.fromkeys(self.file(finding) for finding in found))
        lines = [_why(finding) for finding in found]
        lines += ["[[survey]]", "files = [", *(f"    {name}," for name in names), "]"]
        if only:
            layers = [quoted(finding.layer) for finding in found if finding.layer]
            lines.append(f"layers = [{', '.join(layers)}]")
        if not _has_crs(found[0]):
            lines.append('# crs = ""                          # not in the files: until it is set, all is set aside')
        if place:
            lines.append(f"# observer = {quoted(place.rpartition('/')[2])}")
        lines.append('# gps_accuracy = ""                   # where a record has none')
        lines.append('# defaults = { radius = "" }          # where a point has no size; without it, it is set aside')
        return "\n".join(lines)

    def pictures(self, finding: Finding) -> str:
        folder, bar, pattern = self.path_of(finding.file).rpartition("/")
        lines = [
            "[[photos]]",
            f"files = [{quoted(f'{glob.escape(folder)}{bar}{pattern}')}]",
            'within = ""                          # of a patch: farther ones are set aside',
        ]
        return "\n".join([_why(finding), *(f"# {line}" for line in lines)])

    def protect(self, finding: Finding, why: str | None) -> str:
        guess = finding.guess
        lines = [f"kind = {quoted(guess.label)}", *self.layer(finding).splitlines()]
        lines += ['crs = ""                             # the file does not say'] if not _has_crs(finding) else []
        lines += [f'no_spray = ""                        {_LABEL}']
        lines += ['rule = ""                            # where the distance comes from']
        lines += ["confidential = true                  # never named in crew files"] if guess.confidential else []
        hint = [f"# {line}" for line in _where_hint(finding)]
        said = [f"# first mend this: {why}"] if why else []
        return "\n".join([_why(finding), *said, *hint, "# [[protect]]", *(f"# {line}" for line in lines)])

    def land(self, kind: str, finding: Finding) -> str:
        if kind == "elevation":
            return f"elevation = {self.file(finding)}"
        return f"{kind} = {{ {', '.join(self.layer(finding).splitlines())} }}"

    def ways(self, finding: Finding) -> str:
        column = finding.guess.column
        facts = finding.facts
        classes = [
            value
            for item in (facts.columns if isinstance(facts, LayerFacts) else ())
            if item.name == column
            for value, _ in item.common
        ]
        allows = ", ".join(f'{quoted(value)} = ["foot"]' for value in classes)
        return (
            f"{_why(finding)}\n[ways]\n{self.layer(finding)}\ncolumn = {quoted(column)}\n"
            f'# add "atv" and "tractor" where they may drive\nallows = {{ {allows} }}'
        )


def _has_crs(finding: Finding) -> bool:
    return finding.facts is None or finding.facts.has_crs


def _where_hint(finding: Finding) -> list[str]:
    """What a class column holds, for one block a class."""
    facts = finding.facts
    for column in facts.columns if isinstance(facts, LayerFacts) else ():
        if column.name.lower() in ("class", "type", "kind", "fclass", "ftype") and 1 < column.distinct <= _LISTED:
            key = column.name if column.name.isidentifier() and column.name.isascii() else quoted(column.name)
            values = ", ".join(quoted(value) for value, _ in column.common)
            return [f"one block a class: where = {{ {key} = {quoted(column.common[0][0])} }}; there are {values}"]
    return []
