"""Damaged files read by the survey's intake and held to what must be true of it, whatever is in them.

By hand, for a hundred thousand of them: ``python tests/inputs/fuzz_check.py --count 100000 --seed 7``.
"""

from __future__ import annotations

import argparse
import json
import os
import socket
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import shapely
from fuzz_bases import MADE, REAL, made_bases, real_bases
from fuzz_counts import expected
from fuzz_mutants import Base, Mutant, mutant

from invasimap.core.crs import working_crs
from invasimap.core.survey_settings import IntakeSection, SurveySection
from invasimap.inputs.formats.photos import read_photos
from invasimap.inputs.photos import attach_photos, photo_ledger
from invasimap.inputs.species import load_catalogue
from invasimap.inputs.survey import Survey, read_survey

BATCH = 20
SHARES = {
    "gpx": 16, "kml": 14, "csv": 18, "tsv": 4, "geojson": 14, "geojsonl": 5, "kmz": 4, "zip": 4, "xlsx": 5, "shp": 5,
    "gpkg": 2, "fgb": 2, "parquet": 2, "jpg": 5,
}  # fmt: skip
CRS = working_crs(-80, 38)
NEAR = shapely.box(-500, -500, 500, 500)
FRIEND = "friend.csv"  # a good file beside the damaged ones
FRIENDLY = "species,name,cover,radius_ft,date,lon,lat\nROMU,ROMU,40,7,2023-01-02,-80.0007,38.0007\n"
DEFAULTS = {"radius": "10 ft", "width": "12 ft"}


class Sandbox:
    """A folder to which all writing is held: files read, working directory and temporary folder are in it."""

    def __init__(self, home: Path) -> None:
        self.home = home / "1" / "2" / "3" / "4"  # names with dots in archives end inside too
        self.root = home
        for name in ("in", "cwd", "tmp"):
            (self.home / name).mkdir(parents=True)
        self.trap = socket.socket()
        self.trap.bind(("127.0.0.1", 0))
        self.trap.listen()
        self.trap.setblocking(False)

    @contextmanager
    def closed(self) -> Iterator[None]:
        """Temporary files go into the sandbox, and requests of GDAL, PROJ and Python to a socket that counts them."""
        proxy = "http://{}:{}".format(*self.trap.getsockname())
        names = ("http_proxy", "https_proxy", "ftp_proxy", "all_proxy", "GDAL_HTTP_PROXY", "GDAL_HTTPS_PROXY")
        before = Path.cwd()
        os.chdir(self.home / "cwd")
        try:
            with (
                mock.patch.dict(os.environ, dict.fromkeys(names, proxy) | {"TMPDIR": str(self.home / "tmp")}),
                mock.patch.object(tempfile, "tempdir", str(self.home / "tmp")),
                mock.patch.object(socket.socket, "connect", side_effect=AssertionError("a connection was opened")),
            ):
                yield
        finally:
            os.chdir(before)

    def files(self) -> dict[str, bytes]:
        """Every file in the sandbox with its content."""
        return {str(p.relative_to(self.root)): p.read_bytes() for p in self.root.rglob("*") if p.is_file()}

    def requests(self) -> int:
        """Connections that came to the socket."""
        try:
            self.trap.accept()[0].close()
        except BlockingIOError:
            return 0
        return 1

    def clear(self) -> None:
        """Take out the files that were read."""
        for path in sorted((self.home / "in").rglob("*"), reverse=True):
            path.unlink() if path.is_file() else path.rmdir()


def failures(bases: list[Base], numbers: Sequence[int], *, seed: int, home: Path) -> list[str]:
    """What is wrong with the mutants of these numbers, read batch by batch and, where one fails, one by one."""
    box = Sandbox(home)
    found = []
    for start in range(0, len(numbers), BATCH):
        batch = {number: mutant(bases, seed=seed, number=number) for number in numbers[start : start + BATCH]}
        why = problem(batch, box)
        if why:
            single = {n: said for n, one in batch.items() if (said := problem({n: one}, box))}
            found += [f"{bases[0].kind} {n}: {batch[n].base} {batch[n].steps}: {said}" for n, said in single.items()]
            found += [] if single else [f"{bases[0].kind} {list(batch)}, only together: {why}"]
    box.trap.close()
    return found


def problem(batch: dict[int, Mutant], box: Sandbox) -> str:
    """What is wrong with how these are read; "" when nothing is."""
    box.clear()
    for number, one in batch.items():
        folder = box.home / "in" / f"m{number}"
        folder.mkdir()
        for name, data in one.parts.items():
            (folder / name).write_bytes(data)
    (box.home / "in" / FRIEND).write_text(FRIENDLY, encoding="utf-8")
    before = box.files()
    try:
        with box.closed():
            _check_photos(batch, box) if next(iter(batch.values())).kind == "jpg" else _check_survey(batch, box)
        after = box.files()
        assert not box.requests(), "a request was made"
        assert after == before, (
            f"files changed: {sorted(k for k in {*after, *before} if after.get(k) != before.get(k))}"
        )
    except Exception as error:  # noqa: BLE001 (the finding itself)
        return f"{type(error).__name__}: {str(error)[:400]}{_where(error)}"
    return ""


def _where(error: BaseException) -> str:
    """The lines of the package that the error came through."""
    found, trace = [], error.__traceback__
    while trace is not None:
        path = Path(trace.tb_frame.f_code.co_filename)
        found += [f"{path.name}:{trace.tb_lineno}"] if "invasimap" in path.parts else []
        trace = trace.tb_next
    return f" at {' > '.join(found[-5:])}" if found else ""


def _check_survey(batch: dict[int, Mutant], box: Sandbox) -> None:
    number, one = next(iter(batch.items()))
    real = not one.base.startswith("made")
    columns = {"columns": {"species": "name"}} if real and one.kind != "csv" else {}
    names = [f"m{n}/{m.main}" for n, m in batch.items()]
    at_home = not real and number // BATCH % 8 == 1
    far, crs = ("1000 m", {}) if at_home else ("30000 km", {"crs": "EPSG:4326"})
    section = SurveySection.model_validate({"files": [*names, FRIEND], "defaults": DEFAULTS, **columns, **crs})
    survey = read_survey(
        [section], folder=box.home / "in", crs=CRS, near=NEAR, timezone=ZoneInfo("America/New_York"),
        species=load_catalogue(), intake=IntakeSection.model_validate({"far": far}),
    )  # fmt: skip
    check_account(survey, hidden=str(box.home))
    records, aside = _by_mutant(survey.ledger, "records"), _by_mutant(survey.set_aside, "record", "reason")
    for n, m in batch.items():
        _check_counts(m, [count for (count,) in records.get(f"m{n}", [])], aside.get(f"m{n}", []))
    friend = survey.ledger[survey.ledger["file"] == FRIEND]
    assert friend.iloc[:, 1:].to_numpy().tolist() == [[1, 1, 0, 0]], "the good file beside it was not accepted"


def check_account(survey: Survey, *, hidden: str) -> None:
    """Every record has one fate, every patch has ground, every word can be written and shows no inner path."""
    ledger, patches, aside = survey.ledger, survey.patches, survey.set_aside
    assert (ledger[["accepted", "repaired", "set_aside"]].sum(axis=1) == ledger["records"]).all(), "the ledger is off"
    assert len(patches) == ledger["accepted"].sum() + ledger["repaired"].sum(), "patches and ledger differ"
    assert len(aside) == ledger["set_aside"].sum(), "records set aside and ledger differ"
    assert len(survey.repaired) == ledger["repaired"].sum(), "repaired records and ledger differ"
    assert (aside["reason"].str.strip() != "").all(), "a record is set aside without a reason"
    assert (survey.repaired["how"].str.strip() != "").all(), "a record is repaired without saying how"
    fates: dict[str, list[int]] = {}
    for file, record in pd.concat([patches[["file", "record"]], aside[["file", "record"]]]).itertuples(index=False):
        fates.setdefault(file, []).append(record)
    for row in ledger.itertuples():
        own = sorted(fates.get(row.file, []))
        assert own in ([0], list(range(1, row.records + 1))), f"records of {row.file} are {own}"
    assert patches.geom_type.isin(["Polygon", "MultiPolygon"]).all(), "a patch is no polygon"
    assert patches.is_valid.all(), "a patch is not valid"
    assert (patches.area > 0).all(), "a patch has no area"
    assert np.isfinite(shapely.get_coordinates(patches.geometry.to_numpy())).all(), "a patch is not finite"
    for name in ("cover_pct", "cover_low_pct", "cover_high_pct"):
        assert patches[name].between(0, 100).all(), f"{name} is not within 0 to 100"
    assert (patches["species"] != "").all(), "a patch has no species"
    said = [*survey.notes, *aside["reason"], *aside["raw"], *survey.repaired["how"]]
    said += [text for name in ("species", "date", "observer", "notes", "other") for text in patches[name]]
    said += [str(cell) for row in survey.columns.to_numpy() for cell in row]
    for text in said:
        text.encode()
        assert hidden not in text, f"an inner path is shown: {text[:200]}"
        assert "invasimap-" not in text, f"a temporary folder is shown: {text[:200]}"
    for text in aside["raw"]:
        assert isinstance(json.loads(text), dict), "raw values are no JSON"


def _by_mutant(table: pd.DataFrame, *columns: str) -> dict[str, list[tuple[Any, ...]]]:
    """The values of some columns of a table, row by row, under the folder of their mutant."""
    found: dict[str, list[tuple[Any, ...]]] = {}
    for file, *values in zip(table["file"], *(table[name] for name in columns), strict=True):
        found.setdefault(file.partition("/")[0], []).append(tuple(values))
    return found


def _check_counts(one: Mutant, counts: list[int], aside: list[tuple[int, str]]) -> None:
    """The records of a mutant's rows of the ledger, and (number, reason) of those set aside."""
    records = sum(counts)
    unread = any(number == 0 for number, _ in aside)
    assert counts, "the file is not in the ledger"
    want = expected(one)
    why = f"{records} records, expected {want}: {[reason for _, reason in aside[:2]]}"
    assert not (unread and want.read), f"not read: {why}"
    assert unread or want.exact in (None, records), why
    assert unread or records >= want.least, why


def _check_photos(batch: dict[int, Mutant], box: Sandbox) -> None:
    paths = [box.home / "in" / f"m{n}" / m.main for n, m in batch.items()]
    labels = [f"m{n}" for n in batch]
    photos = read_photos(paths, labels=labels)
    assert photos["file"].tolist() == labels, "a picture is lost"
    good = photos["problem"] == ""
    assert (photos["lon"].between(-180, 180) & photos["lat"].between(-90, 90) | ~good).all(), "a position is off"
    assert photos.loc[~good, ["lon", "lat"]].isna().all(axis=None), "a picture has a problem and a position"
    folder = box.home / "in"
    survey = read_survey(
        [SurveySection(files=[FRIEND])], folder=folder, crs=CRS, near=NEAR, timezone=ZoneInfo("America/New_York"),
        species=load_catalogue(),
    )  # fmt: skip
    table = attach_photos(photos, survey.patches, crs=CRS, within_m=50, timezone=ZoneInfo("America/New_York"))
    assert ((table["patch"] == "") == (table["reason"] != "")).all(), "a picture has neither patch nor reason"
    ledger, _ = photo_ledger(table, crs=CRS)
    assert ledger["records"].sum() == len(batch), "the ledger lost a picture"
    assert (ledger[["accepted", "repaired", "set_aside"]].sum(axis=1) == ledger["records"]).all(), "the ledger is off"
    for text in (*table["reason"], *photos["time"], *photos["problem"]):
        text.encode()


def share(kind: str, count: int) -> int:
    """How many of ``count`` mutants are of a format."""
    return round(count * SHARES[kind] / sum(SHARES.values()))


def main() -> int:
    """Run by hand: prints what is wrong and the time per format."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=5_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kinds", nargs="*", default=list(SHARES))
    parser.add_argument("--real", type=Path, default=Path(__file__).resolve().parents[3] / "shared" / "real")
    asked = parser.parse_args()
    warnings.simplefilter("error")
    warnings.filterwarnings("ignore", message=".*unclosed.*", category=ResourceWarning)
    wrong = 0
    for kind in asked.kinds:
        with tempfile.TemporaryDirectory() as name:
            home = Path(name)
            sources = {"made": made_bases(home, kind)}
            if kind in REAL and asked.real.is_dir():
                sources["real"] = real_bases(asked.real, kind)
            for number, (source, bases) in enumerate(sources.items()):
                count = share(kind, asked.count) // len(sources)
                start = time.perf_counter(), time.process_time()
                found = failures(bases, range(count), seed=asked.seed, home=home / f"box {number}")
                seconds = time.perf_counter() - start[0], time.process_time() - start[1]
                wrong += len(found)
                lines = "".join(f"  {line}\n" for line in found[:20])
                took = f"{seconds[0]:.0f} s ({seconds[1]:.0f} s of CPU)"
                sys.stdout.write(f"{kind} {source}: {count} in {took}, {len(found)} wrong\n{lines}")
                sys.stdout.flush()
    return int(wrong > 0)


if __name__ == "__main__":
    assert set(SHARES) == set(MADE)
    sys.exit(main())
