"""What the report says of a season's work: its figures by hand, what is not known, and its three charts."""

from __future__ import annotations

import dataclasses
import datetime as dt
import html
import io
import re
from typing import Any, get_args

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from PIL import Image
from season_of_toy import MONDAY, NAN, schedule, season, windows, with_season, without_rigs, work

from invasimap.core.rig_settings import LabourSection
from invasimap.core.schedule_settings import BudgetSection
from invasimap.core.season_settings import Technique
from invasimap.prescription.plan import Plan
from invasimap.reports import pictures as all_pictures
from invasimap.reports import style
from invasimap.reports.money_chart import money_chart, money_figure
from invasimap.reports.report import report_html
from invasimap.reports.schedule_chart import schedule_chart, schedule_figure
from invasimap.reports.season_sums import charts_of
from invasimap.reports.windows_chart import MOST_ROWS, window_rows, windows_chart, windows_figure
from invasimap.reports.wording import TECHNIQUE_WORDS


def picture() -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (66, 30), "white").save(file, "PNG")
    return file.getvalue()


PICTURES = dict.fromkeys(("overview", "species", "access_limits", "windows", "schedule", "money"), picture())


def words(fragment: str) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", fragment))).strip()


def page_of(plan: Plan) -> str:
    return report_html(plan, pictures=PICTURES)


def section(page: str, name: str) -> str:
    return page.split(f'<section id="{name}"')[1].split("</section>")[0]


def rows_under(page: str, caption: str) -> list[list[str]]:
    """The cells of the table of a caption, its total included."""
    table = page.split(f"<span>{caption}</span>")[1].split("</table>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", table, re.S)[1:]
    return [[words(cell) for cell in re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.S)] for row in rows]


@pytest.fixture(scope="module")
def season_plan(toy_plan: Plan) -> Plan:
    return with_season(toy_plan)


@pytest.fixture(scope="module")
def page(season_plan: Plan) -> str:
    return page_of(season_plan)


def test_first_page_says_cost_crews_weeks_ground_and_what_is_withheld(page: str) -> None:
    said = words(section(page, "answers"))
    assert "480 USD 380 to 630 USD; 48 % of the budget of 1,000 USD" in said  # 150 + 200 + 130; 380 and 630 likewise
    assert "3 crew-days 17.4 person-hours with travel; hose crew 2 d, pair 1 d" in said  # 6 + 8 + 3.4 hours
    assert "7 Sep to 2 Nov 2026 by their Mondays; 3 works in 2 weeks; windows 7 Sep to 5 Nov 2026" in said
    assert "3.00 of 3.50 acres 86 % of the ground that a technique fits" in said  # a piece of two visits counts once
    assert "2 entries first: no mix for Ailanthus altissima" in said


def test_whole_days_count_pay_and_travel_of_whole_days(season_plan: Plan, page: str) -> None:
    """Pay of 1,200 in place of 340; and of 50 a day, the 0.5 and 0.8 days that works do not fill."""
    assert "; 1,340 USD where crews are paid and travel by whole days" in words(section(page, "answers"))
    travels = LabourSection.model_validate({"travel_cost": "50 USD/day"})
    settings = season_plan.settings.model_copy(update={"labour": travels})
    text = page_of(dataclasses.replace(season_plan, settings=settings))
    assert "; 1,405 USD where crews are paid and travel by whole days" in words(section(text, "answers"))


def test_money_that_is_not_known_is_no_sum(toy_plan: Plan) -> None:
    lacking = work().assign(product_money=[NAN, 0.0, 50.0], money=[NAN, 200.0, 130.0], money_low=NAN, money_high=NAN)
    lacking = lacking.assign(money_known=[110.0, 200.0, 130.0], not_counted=["product", "", ""])
    table = schedule().assign(money=[NAN, 200.0, 130.0])
    text = page_of(with_season(toy_plan, work=lacking, schedule=table, curve=season(toy_plan).curve.iloc[:0]))
    assert "not known 440 USD without product" in words(section(text, "answers"))
    cost = rows_under(text, "Cost by treatment zone")
    assert cost[0] == ["Z001", "1", "100", "0", "not known", "10", "not known", "not known", "not known"]
    assert cost[-1][4] == cost[-1][6] == "not known" and cost[-1][2] == "340"
    assert [row[-1] for row in rows_under(text, "Works by week")] == ["200", "not known", "130", "not known"]
    assert "What further money buys" not in text


def test_hours_that_are_not_known_are_no_sum(toy_plan: Plan) -> None:
    lost = season(toy_plan).rig_days.assign(days=[NAN, 1.2], whole_days=[NAN, 2.0])
    text = page_of(with_season(toy_plan, work=work().assign(crew_h=[NAN, 8.0, 3.4]), rig_days=lost))
    assert "not known person-hours not known; hose crew 2 d, pair not known" in words(section(text, "answers"))


def test_techniques_tell_ground_once_and_what_of_it_is_planned(page: str) -> None:
    assert rows_under(page, "What is done where, and why") == [
        ["Spot spray leaves", "within 6 ft", "2.00", "2.00", "Lonicera maackii 2.00"],
        ["Cut, then spray the resprouts", "over 6 ft", "1.00", "1.00", "Lonicera maackii 1.00"],
        ["Pull", "few", "0.50", "0", "Ailanthus altissima 0.50"],
        ["Nothing", "no means at hand reaches it", "3.00", "", "Ailanthus altissima 3.00"],
    ]


def test_ground_of_one_technique_for_one_reason_is_a_row_with_its_species(toy_plan: Plan) -> None:
    jobs = season(toy_plan).jobs
    alike = jobs.assign(technique="none", reason="no means at hand reaches it", work=None)
    (row,) = rows_under(page_of(with_season(toy_plan, jobs=alike)), "What is done where, and why")
    assert row[:2] == ["Nothing", "no means at hand reaches it"] and row[3] == ""
    each = [said.rpartition(" ")[::2] for said in row[4].split(", ")]
    assert sorted(name for name, _ in each) == sorted(set(jobs["species"]))
    areas = [float(area) for _, area in each]
    assert areas == sorted(areas, reverse=True) and sum(areas) == pytest.approx(float(row[2]), abs=0.01)


def test_what_is_withheld_is_cut_between_words_on_the_first_page(toy_plan: Plan) -> None:
    what = "the dose of the mix would come to more than the label of the product lets anybody put on in a year"
    held = season(toy_plan).withheld.assign(what=what)
    said = words(section(page_of(with_season(toy_plan, withheld=held)), "answers"))
    shown = said.split("first: ")[1].split(" …")[0]
    assert what.startswith(f"{shown} ") and 50 < len(shown) <= 70 and "; all under What is done" in said


def test_works_stand_by_week_and_add_up(page: str) -> None:
    two = "cut, then spray the resprouts (visit {})"
    assert rows_under(page, "Works by week") == [
        ["2026-09-07", "hose crew", two.format(1), "Z002", "1.00", "4.0", "200"],
        ["2026-09-07", "pair", "spot spray leaves", "Z001", "1.50", "3.0", "150"],
        ["2026-11-02", "hose crew", two.format(2), "Z002", "1.00", "1.7", "130"],
        ["All", "", "", "", "3.50", "8.7", "480"],
    ]
    assert [row[1] for row in rows_under(page, "Every work, by week")] == ["1", "2", "3"]


def test_a_work_over_two_weeks_has_its_ground_shared_by_hours(toy_plan: Plan) -> None:
    mondays = [MONDAY, MONDAY + dt.timedelta(weeks=1), MONDAY, MONDAY + dt.timedelta(weeks=8)]
    rows = schedule().iloc[[0, 0, 1, 2]].reset_index(drop=True)
    rows = rows.assign(hours=[1.0, 2.0, 4.0, 1.7], monday=mondays, week=[0, 1, 0, 8])
    found = rows_under(page_of(with_season(toy_plan, schedule=rows)), "Works by week")
    assert {(row[0], row[4]) for row in found if row[1] == "pair"} == {("2026-09-07", "0.50"), ("2026-09-14", "1.00")}
    assert found[-1][4] == "3.50"


def test_cost_is_by_rig_by_zone_and_in_all(page: str) -> None:
    assert rows_under(page, "Cost") == [
        ["hose crew", "240", "30", "50", "10", "330", "260", "430"],
        ["pair", "100", "0", "40", "10", "150", "120", "200"],
        ["All", "340", "30", "90", "20", "480", "380", "630"],
    ]
    assert rows_under(page, "Cost by treatment zone") == [
        ["Z001", "1", "100", "0", "40", "10", "150", "120", "200"],
        ["Z002", "2", "240", "30", "50", "10", "330", "260", "430"],
        ["All", "", "340", "30", "90", "20", "480", "380", "630"],
    ]


def test_what_is_left_is_told_with_its_reason_and_its_mend(page: str) -> None:
    (left,) = rows_under(page, "Not planned, and why")
    assert left[0] == "Z003 (stand 3)" and left[-2] == "not known"
    assert left[-1] == "the rigs' hours in its weeks go to what is worth more"
    held = rows_under(page, "Withheld or not known, and what to do about it")
    assert [row[2] for row in held] == ["type one under [[mix]]", "type your own under [[rig.pace]]"]
    assert ["hose crew", "2", "1.2", "2", "1 (too few)", "3", "800", "400"] in rows_under(page, "Days of each rig")


def test_how_it_was_found_and_what_was_assumed_is_told(page: str) -> None:
    found = dict(rows_under(page, "How the schedule was found"))
    assert found["No schedule can do more than"] == "3.01 ac" and found["Search"] == "within 0.4 %"
    assert found["Short of that by at most"] == "0.4 %"  # 0.3984 %, up
    taken = dict(rows_under(page, "What the work was reckoned with"))
    assert taken["Start"] == "Monday 2026-09-07: start in the settings"
    assert "flowing 50 % of" in taken["Rig pair"] and "flowing 60 %* of" in taken["Rig hose crew"]
    assert "12 min* to fill" in taken["Rig pair"] and taken["Days that let a crew spray"] == "45 %*"


def test_each_stand_has_its_works(page: str) -> None:
    stands = dict(re.findall(r"<h3>Stand (\w+)</h3>(.*?)(?=<h3>|</section>)", section(page, "stands"), re.S))
    assert rows_under(stands["1"], "Works planned in stand 1") == [
        ["2026-09-07", "spot spray leaves", "pair", "Z001", "3.0", "150"]
    ]
    assert len(rows_under(stands["2"], "Works planned in stand 2")) == 3  # two visits and their sum
    assert "nothing: why stands under What is done" in words(stands["3"]) and "Works planned" not in stands["3"]


def test_without_rigs_the_report_says_what_to_type_and_shows_no_empty_frame(toy_plan: Plan) -> None:
    plan = without_rigs(toy_plan)
    assert charts_of(plan.treatment) == ["windows"]
    text = page_of(plan)
    for part in ("answers", "season"):
        said = words(section(text, part))
        assert "There is no rig in the settings: no hours, no cost, no weeks." in said
        assert "There is no mix in the settings" in said and "0 USD" not in said and "0 works" not in said
    own = section(text, "season")
    assert own.count("<img") == 1 and "nothing to list" not in own and "Works by week" not in text
    assert "Works planned" not in text and "Planned</dt>" not in text


def test_without_money_no_money_is_shown(toy_plan: Plan) -> None:
    names = ["labour_money", "machine_money", "product_money", "travel_money", "money", "money_low", "money_high"]
    bare = work().assign(**dict.fromkeys(names, NAN), money_known=0.0)
    text = page_of(with_season(toy_plan, work=bare, currency="", curve=season(toy_plan).curve.iloc[:0]))
    assert "not known there is no money in the settings" in words(section(text, "answers"))
    assert "USD" not in section(text, "season") and "Cost by treatment zone" not in text


def test_metric_tract_reads_metric(toy_plan: Plan, make_plan: Any) -> None:
    metric = make_plan(units="metric")
    text = page_of(with_season(metric))
    assert "1.21 of 1.42 hectares" in words(section(text, "answers"))  # 3 and 3.5 acres of 0.40468564 ha
    taken = dict(rows_under(text, "What the work was reckoned with"))
    assert taken["Rig hose crew"].startswith("tank 94.64 L, output 11.4 L/min")  # 25 and 3 gal of 3.785411784 L


def test_every_technique_of_the_rules_has_its_words() -> None:
    assert set(TECHNIQUE_WORDS) == set(get_args(Technique))


def extents(ax: Any, fill: str) -> list[tuple[float, float, float, float]]:
    """Left, foot, right and top of the areas of a fill, in data."""
    found = []
    for patch in ax.findobj(PathPatch):
        if patch.get_facecolor()[3] > 0 and to_hex(patch.get_facecolor()).upper() == fill.upper():
            low, high = patch.get_path().get_extents().get_points()
            found.append((*low, *high))
    return found


def axes_of(wide: float = 5.0, high: float = 3.0) -> Any:
    figure = Figure(figsize=(wide, high))
    FigureCanvasAgg(figure)
    return figure.add_axes((0.3, 0.2, 0.6, 0.6))


def test_windows_are_drawn_from_first_to_last_day_and_estimates_hatched(season_plan: Plan) -> None:
    ax = axes_of()
    assert windows_chart(season_plan, ax=ax) is ax
    days = {(left, right) for left, _, right, _ in extents(ax, style.SEASON["window"].fill)}
    assert days == {
        (dt.date(2026, 9, 1).toordinal(), dt.date(2026, 9, 21).toordinal()),
        (dt.date(2026, 9, 7).toordinal(), dt.date(2026, 9, 26).toordinal()),
    }
    hatched = [patch for patch in ax.findobj(PathPatch) if patch.get_hatch()]
    (low, high) = hatched[0].get_path().get_extents().get_points()
    assert len(hatched) == 1 and (low[0], high[0]) == (
        dt.date(2026, 10, 23).toordinal(),
        dt.date(2026, 11, 6).toordinal(),
    )
    said = [text.get_text() for text in ax.texts]
    assert {"native leaf drop 20 Oct", "killing freeze 5 Nov", " no window"} <= set(said)
    at = {round(line[0][0]) for collection in ax.collections for line in collection.get_segments() if len(line) == 2}
    assert {dt.date(2026, 10, 20).toordinal(), dt.date(2026, 11, 5).toordinal()} <= at
    head = [text.get_text() for text in windows_figure(season_plan).findobj(lambda one: hasattr(one, "get_text"))]
    assert "estimated" in head


def test_of_very_many_windows_those_with_most_ground_are_drawn(toy_plan: Plan) -> None:
    many = pd.concat([windows().iloc[[1]].assign(species=f"Planta {k:03d}", gross_m2=1.0 + k) for k in range(60)])
    plan = with_season(toy_plan, windows=many.reset_index(drop=True))
    rows, more = window_rows(plan)
    assert len(rows) == MOST_ROWS and more == 60 - MOST_ROWS // 2
    assert {row.words for row in rows if row.species} == {f"Planta {k:03d}" for k in range(more, 60)}


def many_zones(plan: Plan, count: int) -> Plan:
    works = pd.concat([work().iloc[[0]].assign(zone_id=f"Z{k:03d}") for k in range(1, count + 1)])
    works.index = pd.RangeIndex(1, count + 1, name="work")
    rows = pd.concat([schedule().iloc[[0]].assign(work=k) for k in range(1, count + 1)], ignore_index=True)
    return with_season(plan, work=works, schedule=rows)


def texts_of(figure: Figure) -> list[str]:
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def test_schedule_has_each_work_in_its_week_before_its_windows(season_plan: Plan) -> None:
    ax = axes_of()
    assert schedule_chart(season_plan, ax=ax) is ax
    bars = extents(ax, style.SEASON["work"].fill)
    assert len(bars) == 3 and [text.get_text() for text in ax.texts].count("Z002") == 2
    dates = {label.get_text(): at for label, at in zip(ax.get_xticklabels(), ax.get_xticks(), strict=True)}
    assert list(dates) == ["7 Sep 26", "2 Nov 26"]
    weeks = sorted("7 Sep 26" if left < dates["7 Sep 26"] < right else "2 Nov 26" for left, _, right, _ in bars)
    assert weeks == ["2 Nov 26", "7 Sep 26", "7 Sep 26"]
    behind = extents(ax, style.SEASON["behind"].fill)
    assert len(behind) == 3  # no window of the three reaches into the other week


def test_zones_without_room_in_a_bar_are_counted_there_and_named_below(toy_plan: Plan) -> None:
    said = texts_of(schedule_figure(many_zones(toy_plan, 40)))
    assert "40" in said
    below = " ".join(said)
    assert all(f"Z{k:03d}" in below for k in range(1, 41)) and "7 Sep 26, pair: spot spray leaves in Z001" in below


def test_money_rises_in_steps_and_the_budget_is_marked(season_plan: Plan) -> None:
    ax = axes_of()
    assert money_chart(season_plan, ax=ax) is ax
    lines = [line for collection in ax.collections for line in collection.get_segments()]
    done = [(0, 0), (200, 0), (200, 2), (400, 2), (400, 2), (600, 2), (600, 3), (1040, 3)]
    assert any(len(line) == 8 and np.allclose(line, done) for line in lines)
    most = [(0, 0), (0, 2.2), (200, 2.2), (200, 2.8), (400, 2.8), (400, 3.0), (600, 3.0), (1040, 3)]
    assert any(len(line) == 8 and np.allclose(line, most) for line in lines)
    assert any(len(line) == 2 and np.allclose([x for x, _ in line], 1000) for line in lines)
    said = texts_of(money_figure(season_plan))
    assert {"budget 1,000 USD", "first 200 USD", "2.00 ac", "nothing more", "1.00 ac"} <= set(said)


def test_a_budget_far_beyond_is_told_in_words(season_plan: Plan) -> None:
    rich = season_plan.settings.model_copy(update={"budget": BudgetSection.model_validate({"money": "90000 USD"})})
    ax = money_chart(dataclasses.replace(season_plan, settings=rich), ax=axes_of())
    assert ax.get_xlim()[1] < 700
    assert "budget 90,000 USD, beyond all that can be spent" in [text.get_text() for text in ax.texts]


def test_names_with_signs_of_mathematics_are_shown_as_they_are(toy_plan: Plan) -> None:
    odd = windows().assign(species="Planta $x^2$ <b>")
    plan = with_season(
        toy_plan, windows=odd, work=work().assign(rig="rig $1$"), schedule=schedule().assign(rig="rig $1$")
    )
    for draw in (windows_figure, schedule_figure):
        figure = draw(plan)
        figure.canvas.draw()
        labels = [label for axes in figure.axes for label in axes.get_yticklabels() if "$" in label.get_text()]
        assert labels and not any(label.get_parse_math() for label in labels)
    assert "Planta $x^2$ &lt;b&gt;" in page_of(plan)


def test_only_charts_that_show_something_are_drawn(
    season_plan: Plan, toy_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(all_pictures, "sheet_png", lambda _draw, _plan: b"")
    for name in ("mapbook_pdf", "loadsheet_pdf"):
        monkeypatch.setattr(all_pictures, name, lambda _plan: b"")
    usual = set(all_pictures.pictures(toy_plan))
    assert set(all_pictures.pictures(season_plan)) - usual == {"windows", "schedule", "money"}
    assert set(all_pictures.pictures(without_rigs(toy_plan))) - usual == {"windows"}
