import dataclasses
import hashlib
import json
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest

from invasimap.prescription.plan import Plan
from invasimap.reports.geopackage import write_geopackage
from invasimap.reports.proof import files_error
from invasimap.reports.run_record import run_record
from invasimap.reports.tables import write_tables

M2_PER_ACRE = 4046.8564224


@pytest.fixture(scope="module")
def package(toy_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("gpkg") / "plan.gpkg"
    write_geopackage(toy_plan, path)
    return path


def test_layers_and_columns_are_the_contract(package: Path) -> None:
    columns = {
        name: set(gpd.read_file(package, layer=name).columns) - {"geometry"} for name, _ in pyogrio.list_layers(package)
    }
    assert columns == {
        "patches": {
            "id", "species", "date", "cover_pct", "height_ft", "file", "record", "gross_ac", "stems", "observer",
            "notes", "other",
        },
        "mosaic": {"stand", "zone", "access", "species", "cover_pct", "area_ac"},
        "treatment_zones": {
            "id", "stand", "zone", "access", "species", "tractor_ac", "atv_hose_ac", "foot_ac", "gross_ac",
        },
        "protection": {"zone", "kind", "rule"},
        "access": {"access", "reached_by", "limit", "hose_only"},
        "parking": {"zone_id", "stop", "access", "hose_ft", "lift_ft", "drop_ft", "served_ac", "share_pct"},
        "stands": {"stand"},
        "set_aside": {"file", "record", "reason", "raw"},
    }  # fmt: skip


def test_areas_of_the_polygons_are_the_areas_in_the_tables(package: Path, toy_plan: Plan, tmp_path: Path) -> None:
    write_tables(toy_plan, tmp_path)
    mosaic = gpd.read_file(package, layer="mosaic")
    assert mosaic.crs == toy_plan.crs
    keys = ["stand", "zone", "access"]
    measured = (mosaic.area / M2_PER_ACRE).groupby([mosaic[key] for key in keys]).sum()
    table = pd.read_csv(tmp_path / "tables" / "ground.csv", dtype={"stand": str}).set_index(keys)["ground_ac"]
    pd.testing.assert_series_equal(measured.sort_index(), table.sort_index(), check_names=False, rtol=1e-9)
    zones = gpd.read_file(package, layer="treatment_zones")
    assert (zones.area / M2_PER_ACRE).sum() == pytest.approx(table.sum(), rel=1e-9)


def test_parking_places_lie_where_the_table_says(package: Path, toy_plan: Plan, tmp_path: Path) -> None:
    write_tables(toy_plan, tmp_path)
    table = pd.read_csv(tmp_path / "tables" / "parking.csv")
    layer = gpd.read_file(package, layer="parking").to_crs(4326)
    assert layer.geometry.geom_type.unique().tolist() == ["Point"]
    for ours, theirs in ((layer.geometry.y, "lat"), (layer.geometry.x, "lon"), (layer["hose_ft"], "hose_ft")):
        near = 1e-6 if theirs == "hose_ft" else 5.1e-6  # degrees are written with five decimals
        assert ours.tolist() == pytest.approx(table[theirs].tolist(), abs=near)
    assert layer["hose_ft"].iloc[0] == pytest.approx(300.0)  # 91.44 m


def test_set_aside_without_geometry_is_kept(package: Path) -> None:
    layer = gpd.read_file(package, layer="set_aside")
    assert layer["record"].tolist() == [41, 42]
    assert layer.geometry.isna().tolist() == [True, False]


def test_confidential_feature_is_not_named_anywhere(package: Path, toy_plan: Plan) -> None:
    assert set(gpd.read_file(package, layer="protection")["rule"]) >= {"restricted", "well rule"}
    told = package.read_bytes() + json.dumps(run_record(toy_plan)).encode()
    for secret in (b"slipper", b"heritage agreement"):
        assert secret not in told


def test_same_plan_same_bytes(package: Path, toy_plan: Plan, tmp_path: Path) -> None:
    write_geopackage(toy_plan, tmp_path / "plan.gpkg")
    assert (
        hashlib.sha256((tmp_path / "plan.gpkg").read_bytes()).digest() == hashlib.sha256(package.read_bytes()).digest()
    )


def test_cautions_travel_with_every_layer(package: Path) -> None:
    for name, _ in pyogrio.list_layers(package):
        assert "label is the law" in pyogrio.read_info(package, layer=name)["layer_metadata"]["cautions"]


def test_empty_plan_has_every_layer(empty_plan: Plan, tmp_path: Path) -> None:
    write_geopackage(empty_plan, tmp_path / "plan.gpkg")
    sizes = {
        name: pyogrio.read_info(tmp_path / "plan.gpkg", layer=name)["features"]
        for name, _ in pyogrio.list_layers(tmp_path / "plan.gpkg")
    }
    assert sizes["stands"] == len(empty_plan.stands)
    assert sizes["mosaic"] == sizes["patches"] == sizes["set_aside"] == 0


def test_record_says_what_went_in_and_whether_it_agrees(toy_plan: Plan) -> None:
    record = run_record(toy_plan)
    assert record["ledger"] == [{"file": "survey.csv", "records": 42, "accepted": 39, "repaired": 1, "set_aside": 2}]
    assert record["checks"][0] == {"name": "area conserved", "value": 2e-15, "limit": 1e-9, "passed": True}
    assert record["inputs"] == [{"path": "survey.csv", "sha256": "a" * 64}]
    assert record["settings"]["protect"][0]["no_spray_m"] == pytest.approx(7.62)
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_unknown_check_value_is_null_and_not_passed(toy_plan: Plan) -> None:
    check = dataclasses.replace(toy_plan.checks[0], value=float("nan"))
    found = run_record(dataclasses.replace(toy_plan, checks=(check,)))["checks"][0]
    assert found["value"] is None
    assert found["passed"] is False


def test_proof_reads_names_that_tables_had_to_make_inert(toy_plan: Plan, tmp_path: Path) -> None:
    renamed = {
        name: getattr(toy_plan, name).replace({"stand": {"1": "-1", "2": "=2"}})
        for name in ("mosaic", "ground", "acreage")
    }
    plan = dataclasses.replace(toy_plan, **renamed)
    write_geopackage(plan, tmp_path / "plan.gpkg")
    write_tables(plan, tmp_path)
    assert files_error(plan, tmp_path) < 1e-6


def test_proof_finds_a_table_that_lies(toy_plan: Plan, tmp_path: Path) -> None:
    write_geopackage(toy_plan, tmp_path / "plan.gpkg")
    lie = toy_plan.ground.assign(ground_m2=toy_plan.ground["ground_m2"] * 1.01)
    write_tables(dataclasses.replace(toy_plan, ground=lie), tmp_path)
    assert files_error(toy_plan, tmp_path) == pytest.approx(0.01 / 1.01, rel=1e-6)
