import csv
import dataclasses
import datetime as dt
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from a_treatment import nothing_planned, with_treatment
from pyproj import Transformer

from invasimap.core.units import METRIC, US
from invasimap.prescription.plan import Plan
from invasimap.reports.sheet import entry_words
from invasimap.reports.tables import shown_table, write_csv, write_tables

M2_PER_ACRE = 4046.8564224


@pytest.fixture(scope="module")
def written(toy_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tables")
    write_tables(toy_plan, folder)
    return folder


def test_hectare_is_2_471_acres_and_1_ha() -> None:
    table = pd.DataFrame({"area_m2": [10_000.0], "height_m": [3.048], "record": [7], "from": ["x"]})
    assert shown_table(table, US)["area_ac"][0] == pytest.approx(2.4710538, rel=1e-7)
    assert list(shown_table(table, US).columns) == ["area_ac", "height_ft", "record", "from"]
    assert shown_table(table, US)["height_ft"][0] == pytest.approx(10.0)
    assert shown_table(table, METRIC)["area_ha"][0] == 1.0


def test_what_rounds_to_nothing_has_no_minus(tmp_path: Path) -> None:
    write_csv(pd.DataFrame({"gain_ac": [-1e-12, -0.25], "hose_ft": [-0.0, -0.04]}), tmp_path / "a.csv")
    said = ["gain_ac,hose_ft", "0.000000000,0.0", "-0.250000000,0.0"]
    assert (tmp_path / "a.csv").read_text("utf-8").splitlines() == said


def test_columns_are_the_contract(written: Path) -> None:
    head = {
        path.name: path.read_text("utf-8").splitlines()[0]
        for path in [*written.glob("tables/*.csv"), *written.glob("*.csv")]
    }
    ranges = "gross_low_ac,gross_high_ac,infested_low_ac,infested_high_ac"
    assert head["acreage.csv"] == f"stand,species,zone,access,patches,gross_ac,infested_ac,{ranges}"
    assert head["ground.csv"] == "stand,zone,access,ground_ac,ground_low_ac,ground_high_ac"
    totals = [f"{name}{end}_ac" for name in ("gross", "infested") for end in ("", "_low", "_high")]
    assert set(head["totals.csv"].split(",")) == {"species", *totals, *(f"treatable_{name}" for name in totals)}
    assert head["drivers.csv"] == "species,part,position_pct,size_pct,cover_pct,cell_pct"
    assert head["ledger.csv"] == "file,records,accepted,repaired,set_aside"
    assert head["set_aside.csv"] == "file,record,reason,raw"
    assert head["repaired.csv"].startswith("file,record,")
    assert head["treatment_zones.csv"] == "id,stand,zone,access,species,tractor_ac,atv_hose_ac,foot_ac,gross_ac"
    assert head["limits.csv"] == "access,limit,open_ac"
    assert head["parking.csv"] == "zone_id,stop,access,lat,lon,hose_ft,lift_ft,drop_ft,served_ac,share_pct"
    gains = "treatable_gain_ac,tractor_gain_ac,atv_hose_gain_ac,foot_gain_ac"
    assert head["reach_gain.csv"] == f"change,means,lat,lon,{gains}"


def test_gains_are_in_the_shown_units_and_openings_have_their_place(written: Path, toy_plan: Plan) -> None:
    table = pd.read_csv(written / "tables" / "reach_gain.csv")
    assert table["change"].tolist() == ["100 ft more hose", "10 min longer walk", *["one more opening"] * 2]
    assert table["tractor_gain_ac"].tolist() == [0, 0, 1, 0]  # 4046.8564224 m2
    assert table["lat"].isna().tolist() == table["lon"].isna().tolist() == [True, True, False, False]
    lon, lat = Transformer.from_crs(toy_plan.crs, 4326, always_xy=True).transform(435.0, -80.0)
    assert table.loc[2, ["lat", "lon"]].tolist() == pytest.approx([lat, lon], abs=6e-6)


def test_sums_of_the_files_are_the_union_of_the_patches(written: Path, toy_plan: Plan) -> None:
    ground = pd.read_csv(written / "tables" / "ground.csv")["ground_ac"].sum()
    assert ground == pytest.approx(toy_plan.patches.union_all().area / M2_PER_ACRE, rel=1e-9)
    acreage = pd.read_csv(written / "tables" / "acreage.csv").groupby("species")["gross_ac"].sum()
    for latin, group in toy_plan.patches.groupby("species"):
        assert acreage[latin] == pytest.approx(group.union_all().area / M2_PER_ACRE, rel=1e-9)


def test_order_of_rows_does_not_change_a_byte(toy_plan: Plan, tmp_path: Path) -> None:
    shuffled = dataclasses.replace(
        toy_plan, acreage=toy_plan.acreage.sample(frac=1, random_state=1), ground=toy_plan.ground.iloc[::-1]
    )
    texts = []
    for name, plan in (("a", toy_plan), ("b", shuffled)):
        (tmp_path / name).mkdir()
        write_tables(plan, tmp_path / name)
        texts.append({p.name: p.read_bytes() for p in sorted((tmp_path / name).rglob("*.*")) if p.is_file()})
    assert texts[0] == texts[1]
    assert "tables.xlsx" in texts[0]


def test_hostile_cells_do_not_run(make_plan: Callable[..., Plan], tmp_path: Path) -> None:
    plan = make_plan()
    hostile = ["=1+1", "@SUM(A1)", "+1", "-1", "\t=1", "plain"]
    aside = (
        plan.set_aside.iloc[[0] * len(hostile)].reset_index(drop=True).assign(reason=hostile, raw="=cmd|' /C calc'!A0")
    )
    write_tables(dataclasses.replace(plan, set_aside=aside), tmp_path)
    with (tmp_path / "set_aside.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert {row["reason"] for row in rows} == {"'=1+1", "'@SUM(A1)", "'+1", "'-1", "'\t=1", "plain"}
    assert all(row["raw"].startswith("'=") for row in rows)
    sheet = openpyxl.load_workbook(tmp_path / "tables.xlsx")["set_aside"]
    cells = [cell for row in sheet.iter_rows(min_row=2, min_col=3) for cell in row]
    assert {cell.data_type for cell in cells} == {"s"}
    assert "=1+1" in {cell.value for cell in cells}


def test_workbook_holds_the_csv_and_a_frozen_head(written: Path) -> None:
    book = openpyxl.load_workbook(written / "tables.xlsx")
    assert book.sheetnames == [
        "read me", "acreage", "ground", "totals", "by_means", "drivers", "treatment_zones", "limits", "parking",
        "reach_gain", "techniques", "windows", "work", "loads", "schedule", "schedule_days", "unplanned", "withheld",
        "rig_days", "money_curve", "ledger", "repaired", "set_aside", "columns",
    ]  # fmt: skip
    for name in ("acreage", "ground", "totals", "by_means", "drivers", "limits", "parking", "reach_gain"):
        sheet = book[name]
        assert sheet.freeze_panes == ("B2" if name == "totals" else "A2") and all(cell.font.bold for cell in sheet[1])
        assert sheet.auto_filter.ref == f"A1:{sheet.cell(sheet.max_row, sheet.max_column).coordinate}"
        assert sheet.print_title_rows == "$1:$1" and sheet.page_setup.orientation == "landscape"
        assert (
            sheet.sheet_properties.pageSetUpPr.fitToPage
            and sheet.page_setup.fitToHeight == 0
            and sheet.page_setup.paperSize == 1
        )
        from_csv = pd.read_csv(written / "tables" / f"{name}.csv")
        from_book = pd.DataFrame(list(sheet.values)[1:], columns=[cell.value for cell in sheet[1]])
        column = from_csv.columns[-1]
        np.testing.assert_allclose(from_book[column].astype(float), from_csv[column], rtol=0, atol=5.1e-10)
    ground, whole = book["ground"], pd.read_csv(written / "tables" / "ground.csv")["ground_ac"]
    assert (
        ground["D2"].number_format == '[=0]0.00;[<0.005]"<0.01";#,##0.00'
        and abs(ground["D2"].value - round(whole[0], 2)) > 1e-6
    )
    assert book["acreage"]["E2"].number_format == "#,##0" and book["repaired"]["B2"].number_format == "0"
    assert ground.column_dimensions["A"].width >= 8 and book["set_aside"].column_dimensions["D"].width >= 25


def test_workbook_reads_as_it_is_seen(written: Path, toy_plan: Plan, tmp_path: Path) -> None:
    """Numbers stand under their headings, losses keep their minus, long texts have room, wide tables print legibly."""
    several = ";".join(f"Species number{k}" for k in range(12))  # 190 letters: four lines of 60
    zones = toy_plan.treatment_zones.assign(species=several)
    write_tables(dataclasses.replace(toy_plan, treatment_zones=zones), tmp_path)
    book = openpyxl.load_workbook(tmp_path / "tables.xlsx")
    heads = {cell.value: cell.alignment.horizontal for cell in book["acreage"][1]}
    assert heads["gross_ac"] == heads["patches"] == "right" and heads["species"] != "right"
    gain = next(cell for cell in book["reach_gain"][2] if cell.column_letter == "H")
    assert book["reach_gain"]["H1"].value == "foot_gain_ac" and gain.number_format == "#,##0.00"
    rows = book["treatment_zones"].row_dimensions
    assert (
        rows[2].height >= 4 * 12
        and openpyxl.load_workbook(written / "tables.xlsx")["ledger"].row_dimensions[2].height is None
    )
    totals = book["totals"]
    assert totals.page_setup.fitToWidth == 2 and totals.print_title_cols == "$A:$A" and totals.freeze_panes == "B2"
    for sheet in book.worksheets[1:]:
        for place, cell in ((place, cell) for place, cell in enumerate(sheet[1], 1) if cell.value):
            width = next(held.width for held in sheet.column_dimensions.values() if held.min <= place <= held.max)
            assert width >= len(str(cell.value)) + 2, (sheet.title, cell.value)


def test_workbook_explains_itself(written: Path, toy_plan: Plan) -> None:
    book = openpyxl.load_workbook(written / "tables.xlsx")
    first = book.worksheets[0]
    rows = [[cell.value for cell in row] for row in first.iter_rows()]
    facts = {row[0]: row[1] for row in rows[:8]}
    assert facts["Tract"] == "Toy Tract" and facts["Plan made (UTC)"] == dt.datetime(2025, 11, 3, 15, 0)
    assert "acres" in facts["Units"] and "feet" in facts["Units"]
    assert any("label is the law" in str(row[1]) for row in rows[:8])
    head = rows.index(["sheet", "column", "what it is"])
    assert first.freeze_panes == f"A{head + 2}"
    said = {(row[0], row[1] or ""): row[2] for row in rows[head + 1 :]}
    for sheet in book.worksheets[1:]:
        assert said[sheet.title, ""]
        assert all(len(said[sheet.title, cell.value]) > 3 for cell in sheet[1] if cell.value)
    assert said["acreage", "gross_high_ac"] == "upper end of the 90 % range of: ground under the patches; acres"


def test_pictures_are_explained_and_when_they_were_taken_is_a_date(toy_plan: Plan, tmp_path: Path) -> None:
    taken = ["2025-09-14T10:30:00", "", "=1+1"]
    row = {
        "file": "a.jpg", "patch": "P1", "species": "Acer", "distance_m": 3.048, "direction_deg": 90.0,
        "direction_ref": "", "lon": -80.0, "lat": 38.0, "error_m": np.nan, "reason": "",
    }  # fmt: skip
    photos = pd.DataFrame([row | {"taken": text} for text in taken])
    write_tables(dataclasses.replace(toy_plan, photos=photos), tmp_path)
    sheet = openpyxl.load_workbook(tmp_path / "tables.xlsx")["photos"]
    column = [cell.value for cell in sheet[1]].index("taken") + 1
    cells = [sheet.cell(number, column) for number in (2, 3, 4)]
    assert cells[0].value == dt.datetime(2025, 9, 14, 10, 30) and cells[0].number_format == "yyyy-mm-dd hh:mm"
    assert cells[1].value is None and (cells[2].value, cells[2].data_type) == ("=1+1", "s")


def test_name_of_the_tract_is_text_in_the_header_of_the_page(make_plan: Callable[..., Plan], tmp_path: Path) -> None:
    write_tables(make_plan(name="=A1 &P Oak & Ash", units="metric"), tmp_path)
    sheet = openpyxl.load_workbook(tmp_path / "tables.xlsx").worksheets[0]
    assert sheet["B2"].value == "=A1 &P Oak & Ash" and sheet["B2"].data_type == "s"
    with zipfile.ZipFile(tmp_path / "tables.xlsx") as book:
        page = book.read("xl/worksheets/sheet1.xml").decode()
    assert "&amp;L=A1 &amp;&amp;P Oak &amp;&amp; Ash&amp;R" in page and 'paperSize="9"' in page


def test_places_have_five_decimals_and_what_a_place_takes_is_rounded_up(written: Path, toy_plan: Plan) -> None:
    lon, lat = Transformer.from_crs(toy_plan.crs, 4326, always_xy=True).transform(-520.0, -300.0)
    first = (written / "tables" / "parking.csv").read_text("utf-8").splitlines()[1].split(",")
    assert first[3:5] == [f"{lat:.5f}", f"{lon:.5f}"]
    assert first[5:8] == ["300.0", "10.2", "0.0"]  # 91.44 m; 3.1 m are 10.17 ft
    assert first[9] == "70.4"  # of 70.4
    second = (written / "tables" / "parking.csv").read_text("utf-8").splitlines()[2].split(",")
    assert second[5:8] == ["262.5", "0.0", "16.5"]  # 80 m are 262.47 ft, 5 m are 16.40 ft
    sheet = openpyxl.load_workbook(written / "tables.xlsx")["parking"]
    assert [cell.number_format for cell in sheet[2]][3:6] == ["0.00000", "0.00000", "#,##0.0"]
    lon, lat = Transformer.from_crs(toy_plan.crs, 4326, always_xy=True).transform(-725.0, -318.0)
    assert entry_words(toy_plan) == f"entry at {lat:.5f}, {lon:.5f}"


def test_empty_plan_has_heads_only(empty_plan: Plan, tmp_path: Path) -> None:
    write_tables(empty_plan, tmp_path)
    assert (tmp_path / "tables" / "ground.csv").read_text("utf-8") == (
        "stand,zone,access,ground_ac,ground_low_ac,ground_high_ac\n"
    )


def test_metric_tract_is_written_in_hectares(make_plan: Callable[..., Plan], tmp_path: Path) -> None:
    plan = make_plan(units="metric", count=5)
    write_tables(plan, tmp_path)
    table = pd.read_csv(tmp_path / "tables" / "ground.csv")
    assert table["ground_ha"].sum() == pytest.approx(plan.patches.union_all().area / 1e4, rel=1e-9)
    limits, parking, gain = (
        pd.read_csv(tmp_path / "tables" / f"{name}.csv") for name in ("limits", "parking", "reach_gain")
    )
    assert list(limits.columns) == ["access", "limit", "open_ha"]
    assert parking["hose_m"].tolist() == [91.5, 80.0, 30.5]  # 91.44 m, rounded up
    assert gain["change"].iloc[0] == "30 m more hose" and gain["treatable_gain_ha"].iloc[0] == pytest.approx(0.01)


SEASON = {
    "techniques": "job,zone_id,patch,species,stand,zone,access,reached_by,gross_ac,cover_pct,height_ft,stem_in,"
    "slope_pct,technique,rule,reason,visit,visits,sprays,first,last,estimated,window,wait_min_days,wait_max_days,mix,work,"
    "dose_lb_per_ac,application_lb_per_ac,year_lb_per_ac,stop_at_floz,at_limit,notes,why",
    "windows": "species,technique,visit,first,last,estimated,window,gross_ac",
    "loads": "outing,day,works,rig,mix,load,count,volume_gal,product_floz,adjuvant_floz,dye_floz,water_gal,hold",
    "schedule": "work,week,monday,rig,volume_gal,hours,money_usd,value_ac",
    "schedule_days": "day,rig,order,work,part,parts,zone_id,stand,zone,technique,visit,visits,outing,mix,volume_gal,"
    "hours,week",
    "unplanned": "zone_id,stand,zone,access,technique,visit,species,patches,worked_ac,hours,money_usd,reason",
    "withheld": "where,what,mend",
    "rig_days": "rig,days,whole_days,available_days,over,calendar_days,labour_money_usd,lost_money_usd",
    "money_curve": "money_limit_usd,money_usd,value_ac,further_value_ac,bound_ac,envelope_ac,solved",
}


@pytest.fixture(scope="module")
def season(toy_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    write_tables(with_treatment(toy_plan), folder)
    return folder / "tables"


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_season_tables_have_their_columns_with_units_and_currency(season: Path) -> None:
    for name, head in SEASON.items():
        assert (season / f"{name}.csv").read_text("utf-8").splitlines()[0] == head
    work = set(rows(season, "work")[0])
    assert {"volume_gal", "product_floz", "ingredient_lb", "labour_money_usd", "money_usd", "mondays"} <= work
    assert not [name for name in work if name.endswith(("_m2", "_L", "_money"))]


def test_season_figures_are_those_set_by_hand(season: Path) -> None:
    """25 gal of mix with 35 and 12.5 fl oz hold 24.629 gal of water (128 fl oz a gallon); 2 kg/ha are 1.784 lb/ac."""
    full, last, *_ = rows(season, "loads")
    assert (full["count"], full["product_floz"], full["adjuvant_floz"], full["water_gal"]) == (
        "4",
        "35.00",
        "12.50",
        "24.629",
    )
    assert (last["volume_gal"], last["product_floz"], last["water_gal"]) == ("12.500", "17.50", "12.316")
    assert (full["day"], full["works"]) == ("2026-08-03", "1")
    first, _, pulled, formula = rows(season, "techniques")
    assert (first["dose_lb_per_ac"], first["height_ft"], first["stem_in"]) == ("1.785", "5.0", "1.0")  # rounded up
    assert (first["stop_at_floz"], first["at_limit"], first["estimated"]) == ("15361.15", "yes", "yes")  # 120.009 gal
    assert (pulled["stop_at_floz"], pulled["mix"], pulled["cover_pct"], pulled["sprays"]) == ("", "", "", "no")
    assert (formula["patch"], formula["work"], first["work"]) == ("'=P004", "", "1")
    two = rows(season, "work")[1]
    assert (two["mondays"], two["volume_gal"], two["product_floz"]) == ("2026-08-10;2026-08-17", "3.000", "7.68")
    assert (two["machine_money_usd"], two["money_usd"], two["money_known_usd"]) == ("", "", "413.75")
    assert two["worked_ac"] == "1.000000000"
    curve = rows(season, "money_curve")[1]
    assert (curve["money_usd"], curve["value_ac"], curve["bound_ac"], curve["solved"]) == (
        "913.40", "2.000000000", "3.000000000", "no",
    )  # fmt: skip
    days = rows(season, "schedule_days")
    assert [row["outing"] for row in days] == ["1", "2", "3", ""]
    assert [(row["order"], row["work"], row["part"], row["parts"]) for row in days[1:]] == [
        ("1", "2", "1", "2"), ("1", "2", "2", "2"), ("2", "3", "1", "1"),
    ]  # fmt: skip
    assert (
        rows(season, "rig_days")[0]["available_days"] == "" and rows(season, "unplanned")[0]["worked_ac"][:4] == "0.50"
    )


def test_season_in_metric_is_the_same_amounts(make_plan: Callable[..., Plan], tmp_path: Path) -> None:
    """25 US gal are 94.635 l, 35 US fl oz 1035.07 ml, an acre 0.40469 ha."""
    write_tables(with_treatment(make_plan(units="metric")), tmp_path)
    full = rows(tmp_path / "tables", "loads")[0]
    assert (full["volume_l"], full["product_ml"]) == ("94.635", "1035.07")
    first = rows(tmp_path / "tables", "techniques")[0]
    assert (first["dose_kg_per_ha"], first["height_m"], first["stem_mm"]) == ("2.000", "1.5", "25.4")
    assert rows(tmp_path / "tables", "work")[0]["worked_ha"] == "0.404685642"


def test_nothing_planned_leaves_headings_alone(toy_plan: Plan, tmp_path: Path) -> None:
    settings = dataclasses.replace(with_treatment(toy_plan), treatment=nothing_planned(toy_plan))
    for number, plan in enumerate((settings, toy_plan)):
        folder = tmp_path / str(number)
        folder.mkdir()
        write_tables(plan, folder)
        for name, head in SEASON.items():
            text = (folder / "tables" / f"{name}.csv").read_text("utf-8")
            assert text == head.replace("_usd", "") + "\n"


def test_workbook_says_what_each_column_of_the_season_is(season: Path) -> None:
    book = openpyxl.load_workbook(season.parent / "tables.xlsx")
    said = {(sheet, column): words for sheet, column, words in book["read me"].iter_rows(min_row=8, values_only=True)}
    assert said["loads", "product_floz"] == "product to measure into one load; US fluid ounces"
    assert said["work", "labour_money_usd"] == "pay of the crew; USD"
    assert said["work", "money_low_usd"].startswith("money at the lower end") and said[
        "work", "money_low_usd"
    ].endswith("USD")
    assert said["techniques", "reason"] == "why this technique" and said["set_aside", "reason"] == "why it was not used"
    assert said["drivers", "cover_pct"] == "share of the estimates of cover; percent"
    head = [cell.value for cell in book["work"][1]]
    whole = book["work"].cell(2, head.index("labour_money_usd") + 1)
    assert whole.number_format == "#,##0" and whole.value == 264.25
    assert book["work"].cell(2, head.index("machine_money_usd") + 1).value is None
