"""What three invented crews would have written down: patches clumped along edges, trails and water."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import shapely
from sample_layout import Layout, at
from sample_terrain import Grid, to_uv
from sample_water import MAIN_NAME, blob
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

SPECIES = {
    # scientific name: common name, PLANTS symbol, least and greatest height (ft)
    "Lonicera maackii": ("Amur honeysuckle", "LOMA6", 4, 14),
    "Elaeagnus umbellata": ("autumn olive", "ELUM", 4, 16),
    "Rosa multiflora": ("multiflora rose", "ROMU", 3, 9),
    "Berberis thunbergii": ("Japanese barberry", "BETH", 2, 5),
    "Celastrus orbiculatus": ("Oriental bittersweet", "CEOR7", 3, 35),
    "Ailanthus altissima": ("tree-of-heaven", "AIAL", 5, 45),
    "Alliaria petiolata": ("garlic mustard", "ALPE4", 1, 3),
    "Microstegium vimineum": ("Japanese stiltgrass", "MIVI", 1, 3),
    "Reynoutria japonica": ("Japanese knotweed", "POCU6", 5, 10),
    "Frangula alnus": ("glossy buckthorn", "FRAL4", 4, 13),
}
NOTES = (
    "",
    "",
    "",
    "",
    "in seed",
    "seedlings under",
    "cut once, resprouting",
    "spreading",
    "check again",
    "dense",
)
CREWS = {
    "north": ("Idris Vane", 2025, 9, 9),
    "creek": ("Maud Pellery", 2025, 9, 16),
    "ridge": ("Tobin Astley", 2025, 9, 23),
}
TO_UTC = timedelta(hours=4)  # eastern daylight time


@dataclass(frozen=True, kw_only=True)
class Record:
    """One record as a crew meant it, in map metres, feet and percent; text fields are written out as they stand."""

    crew: str
    shape: BaseGeometry
    species: str
    cover: str
    size_ft: str
    height_ft: str
    when: datetime
    notes: str = ""


def clumped(rng: np.random.Generator, lines: list[LineString], *, clumps: int, each: int, off_m: float) -> Grid:
    """Points in clumps beside lines: about `each` to a clump, `off_m` metres off as a rule."""
    whole = shapely.line_merge(shapely.union_all(lines))
    out = []
    for start in rng.uniform(0, whole.length, clumps):
        for _ in range(1 + rng.poisson(each - 1)):
            point = _along(whole, float(start + rng.normal(0, 32)))
            out.append([point.x + rng.normal(0, off_m), point.y + rng.normal(0, off_m)])
    return np.array(out)


def _along(lines: BaseGeometry, distance: float) -> Point:
    """The point at a distance along several lines laid end to end."""
    left = min(max(distance, 0.0), lines.length)
    for part in shapely.get_parts(lines):
        if left <= part.length:
            return part.interpolate(left)
        left -= part.length
    return Point(shapely.get_parts(lines)[-1].coords[-1])


def scattered(rng: np.random.Generator, u: float, v: float, *, count: int, along: float, across: float) -> Grid:
    """Points spread round fold coordinates."""
    return np.array([at(u + rng.normal(0, along), v + rng.normal(0, across)) for _ in range(count)])


def places(rng: np.random.Generator, layout: Layout) -> list[tuple[str, Grid]]:
    """Species and where they stand, by habitat."""
    fields = {
        n: [LineString(p.exterior.coords)]
        for n, p in zip(layout.open_ground["name"], layout.open_ground.geometry, strict=True)
    }
    inside = layout.ways.clip(layout.tract)
    road, trail = (list(inside.geometry[inside["class"] == kind]) for kind in ("road", "trail"))
    water = layout.streams.clip(layout.tract)
    run, hollows = (
        list(water.geometry[mask]) for mask in (water["name"] == MAIN_NAME, water["class"] == "intermittent")
    )
    return [
        ("Elaeagnus umbellata", clumped(rng, fields["old field"], clumps=6, each=4, off_m=9)),
        ("Elaeagnus umbellata", clumped(rng, fields["crest field"], clumps=4, each=4, off_m=9)),
        ("Rosa multiflora", clumped(rng, fields["hay meadow"], clumps=6, each=4, off_m=8)),
        ("Rosa multiflora", clumped(rng, fields["crest field"], clumps=3, each=3, off_m=10)),
        ("Lonicera maackii", clumped(rng, fields["hay meadow"], clumps=5, each=5, off_m=14)),
        ("Lonicera maackii", scattered(rng, -460, 330, count=9, along=60, across=35)),
        ("Lonicera maackii", clumped(rng, road, clumps=4, each=4, off_m=9)),
        ("Microstegium vimineum", clumped(rng, trail, clumps=8, each=4, off_m=4)),
        ("Alliaria petiolata", clumped(rng, trail, clumps=4, each=4, off_m=7)),
        ("Alliaria petiolata", clumped(rng, hollows, clumps=3, each=4, off_m=9)),
        ("Reynoutria japonica", clumped(rng, run, clumps=4, each=4, off_m=5)),
        ("Frangula alnus", scattered(rng, 345, -30, count=10, along=80, across=32)),
        ("Berberis thunbergii", scattered(rng, -640, 560, count=9, along=70, across=50)),
        ("Berberis thunbergii", scattered(rng, 320, 570, count=10, along=55, across=45)),
        ("Celastrus orbiculatus", scattered(rng, 730, 40, count=10, along=70, across=60)),
        ("Celastrus orbiculatus", clumped(rng, fields["crest field"], clumps=2, each=4, off_m=12)),
        ("Ailanthus altissima", scattered(rng, -720, 890, count=9, along=60, across=40)),
        ("Ailanthus altissima", scattered(rng, 130, 905, count=10, along=70, across=35)),
        ("Ailanthus altissima", scattered(rng, 690, 850, count=6, along=60, across=40)),
        ("Rosa multiflora", scattered(rng, -440, 140, count=5, along=35, across=25)),
        ("Lonicera maackii", scattered(rng, -918, 70, count=6, along=14, across=45)),
        ("Berberis thunbergii", scattered(rng, 800, 560, count=3, along=40, across=60)),
    ]  # fmt: skip


def crew_at(rng: np.random.Generator, x: float, y: float) -> str:
    """The crew that walked a spot; their beats overlap a little."""
    u, v = (float(a) for a in to_uv(np.float64(x), np.float64(y)))
    if v + rng.normal(0, 40) > 640:
        return "ridge"
    return "north" if u + rng.normal(0, 70) > 40 else "creek"


def write_up(
    rng: np.random.Generator, *, crew: str, species: str, shape: BaseGeometry, day: int, size_ft: float
) -> Record:
    """One record with a believable cover, height, hour and note."""
    _, _, low, high = SPECIES[species]
    _, year, month, first = CREWS[crew]
    start = datetime(year, month, first, 8, 10, tzinfo=UTC) + TO_UTC
    when = start + timedelta(days=day, minutes=float(rng.uniform(0, 520)))
    cover = min(95, max(5, 5 * round(rng.beta(1.6, 2.2) * 20)))
    height = round(float(rng.uniform(low, high)))
    note = str(rng.choice(NOTES))
    return Record(
        crew=crew, shape=shape, species=species, cover=str(cover), size_ft=f"{size_ft:.0f}" if size_ft else "",
        height_ft=str(height), when=when.replace(microsecond=0), notes=note,
    )  # fmt: skip


def point_records(rng: np.random.Generator, layout: Layout) -> list[Record]:
    """All point records, in the order the crews walked them."""
    out = []
    for species, xy in places(rng, layout):
        for x, y in xy:
            size = float(np.clip(rng.lognormal(2.65, 0.55), 4, 60))
            crew, day = crew_at(rng, x, y), int(rng.integers(0, 4))
            out.append(write_up(rng, crew=crew, species=species, shape=Point(x, y), day=day, size_ft=size))
    return sorted(out, key=lambda r: (r.crew, r.when))


WALKS = (
    # crew, species, fold coordinates, half-lengths (m), day
    ("north", "Lonicera maackii", 455, 225, 46, 20, 0), ("north", "Rosa multiflora", 170, 48, 34, 16, 0),
    ("north", "Frangula alnus", 395, -48, 40, 17, 1), ("north", "Lonicera maackii", 690, 118, 38, 30, 1),
    ("north", "Microstegium vimineum", 560, 520, 48, 14, 2), ("north", "Berberis thunbergii", 255, 540, 40, 26, 2),
    ("north", "Celastrus orbiculatus", 810, 10, 30, 42, 3), ("north", "Rosa multiflora", 300, 245, 25, 14, 3),
)  # fmt: skip
THICKETS = (
    ("creek", "Elaeagnus umbellata", -800, 90, 48, 34, 0), ("creek", "Elaeagnus umbellata", -640, 190, 58, 22, 0),
    ("creek", "Elaeagnus umbellata", -470, 222, 40, 20, 0), ("creek", "Lonicera maackii", -480, 335, 76, 34, 0),
    ("creek", "Lonicera maackii", -360, 285, 42, 24, 1), ("creek", "Lonicera maackii", -900, 40, 34, 30, 1),
    ("creek", "Reynoutria japonica", -560, -42, 30, 12, 1), ("creek", "Reynoutria japonica", -235, -20, 26, 11, 1),
    ("creek", "Rosa multiflora", -250, 92, 36, 22, 1), ("creek", "Rosa multiflora", -410, 150, 26, 18, 2),
    ("creek", "Microstegium vimineum", -600, 500, 60, 18, 2), ("creek", "Microstegium vimineum", -300, 455, 52, 14, 2),
    ("creek", "Berberis thunbergii", -690, 575, 64, 38, 2), ("creek", "Berberis thunbergii", -560, 600, 30, 26, 3),
    ("creek", "Celastrus orbiculatus", -700, -110, 44, 30, 3), ("creek", "Frangula alnus", -120, -28, 28, 14, 3),
    ("creek", "Alliaria petiolata", -150, 420, 32, 16, 3), ("creek", "Lonicera maackii", -60, 215, 52, 24, 3),
    ("creek", "Lonicera maackii", -60, 215, 52, 24, 3), ("creek", "Rosa multiflora", 176, 51, 36, 17, 3),
)  # fmt: skip
RIDGE_SHAPES = (
    ("ridge", "Elaeagnus umbellata", 500, 1050, 52, 22, 0), ("ridge", "Elaeagnus umbellata", 60, 1068, 60, 20, 0),
    ("ridge", "Rosa multiflora", 330, 950, 40, 18, 0), ("ridge", "Ailanthus altissima", 130, 900, 56, 26, 1),
    ("ridge", "Ailanthus altissima", -715, 905, 48, 30, 1), ("ridge", "Ailanthus altissima", 700, 870, 36, 24, 1),
    ("ridge", "Celastrus orbiculatus", 545, 960, 34, 26, 2), ("ridge", "Microstegium vimineum", -600, 1030, 60, 14, 2),
    ("ridge", "Microstegium vimineum", 566, 524, 46, 15, 3), ("ridge", "Lonicera maackii", 840, 1010, 30, 24, 3),
)  # fmt: skip


def walked(rng: np.random.Generator, plan: tuple[tuple[str, str, int, int, int, int, int], ...]) -> list[Record]:
    """Records whose shape is an uneven polygon."""
    out = []
    for crew, species, u, v, along, across, day in plan:
        shape = blob(rng, u, v, along=along, across=across, rough=0.16)
        record = write_up(rng, crew=crew, species=species, shape=shape, day=day, size_ft=0.0)
        out.append(replace(record, cover=str(min(95, int(record.cover) + 25))))
    return out


def ridge_lines(rng: np.random.Generator, layout: Layout) -> list[Record]:
    """Strips along ways on the ridge, mapped as lines with a full width in feet."""
    out = []
    for name, species, start, length, width in (
        ("Crest lane", "Microstegium vimineum", 620, 160, 18), ("Crest lane", "Rosa multiflora", 980, 90, 12),
        ("Gap trail", "Microstegium vimineum", 1250, 210, 10), ("Gap trail", "Alliaria petiolata", 1700, 120, 15),
        ("Heath trail", "Microstegium vimineum", 60, 180, 12), ("Overlook path", "Celastrus orbiculatus", 760, 80, 20),
    ):  # fmt: skip
        line = layout.ways.geometry[layout.ways["name"] == name].iloc[0]
        shape = substring(line, start, min(start + length, line.length - 1))
        out.append(write_up(rng, crew="ridge", species=species, shape=shape, day=2, size_ft=float(width)))
    return out
