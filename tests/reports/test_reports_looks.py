"""One module of looks: nothing else holds a colour, and a class looks the same on paper, on a screen and in a chart."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.etree import ElementTree as ET

import matplotlib.colors as mcolors
import pytest
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.markers import MarkerStyle
from matplotlib.patches import PathPatch

import invasimap.reports
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.access_chart import access_limits_figure
from invasimap.reports.access_map import access_figure
from invasimap.reports.crew import write_crew_files
from invasimap.reports.kml import kml_color
from invasimap.reports.overview import overview_figure
from invasimap.reports.patterns import HATCHES, mark_path, pattern_defs
from invasimap.reports.web_layers import web_layers
from invasimap.reports.wording import OUTCOMES, outcome

REPORTS = Path(str(invasimap.reports.__file__)).parent
COLOR = re.compile(
    r"(?<![&\w])#(?:[0-9a-f]{8}|[0-9a-f]{6}|[0-9a-f]{3,4})\b|\b(?:rgba?|hsla?|hwb|lab|lch|oklab|oklch)\(", re.IGNORECASE
)
OWN = {"style.py", "report.py", "report.html.j2"}  # the report's page has a palette of its own until it takes style's
PAGES = sorted({path.name for path in (REPORTS / "templates").iterdir()} - OWN)


def texts(module: Path) -> Iterator[str]:
    """The texts in a module's code, its docstrings left out."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    said = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said:
            yield node.value


def test_no_module_but_the_one_of_looks_holds_a_colour() -> None:
    found = {
        module.name: colors
        for module in sorted(REPORTS.glob("*.py"))
        if module.name not in OWN and (colors := [text for text in texts(module) if COLOR.search(text)])
    }
    assert found == {}
    assert any(COLOR.search(text) for text in texts(REPORTS / "style.py"))


@pytest.mark.parametrize("name", PAGES)
def test_no_page_holds_a_colour_of_its_own(name: str) -> None:
    page = (REPORTS / "templates" / name).read_text(encoding="utf-8")
    assert COLOR.findall(page) == []


def test_a_colour_is_found_however_it_is_written() -> None:
    for text in ("color: #fff;", 'fill="#1B1B1B"', "#12345678", "rgb(1 2 3)", "a: RGBA(1,2,3,.5)"):
        assert COLOR.search(text), text
    for text in ("#bar button", "&#123;", "url(#fill-foot)", "#head", "&#1234;"):
        assert not COLOR.search(text), text


@pytest.fixture(scope="module")
def drawn(toy_plan: Plan) -> dict[str, Figure]:
    draw: dict[str, Callable[[Plan], Figure]] = {
        "overview": overview_figure, "access": access_figure, "limits": access_limits_figure,
    }  # fmt: skip
    return {name: one(toy_plan) for name, one in draw.items()}


def fills(figure: Figure) -> set[tuple[str, float]]:
    """Colours and opacities of the areas of a figure."""
    return {
        (mcolors.to_hex(patch.get_facecolor()).upper(), round(float(patch.get_alpha() or 1), 3))
        for patch in figure.findobj(PathPatch)
        if patch.get_facecolor()[3] > 0
    }


def hatches(figure: Figure) -> set[tuple[str, str]]:
    """Hatches of a figure and their colours."""
    return {
        (patch.get_hatch(), mcolors.to_hex(patch.get_edgecolor()).upper())
        for patch in figure.findobj(PathPatch)
        if patch.get_hatch()
    }


def forms(figure: Figure) -> list[str]:
    """Forms of a figure's marks, as SVG paths."""
    return [str(one.get_paths()[0].vertices.tolist()) for one in figure.findobj(PathCollection)]


def test_infested_ground_looks_the_same_on_paper_on_the_field_map_and_in_the_chart(
    toy_plan: Plan, drawn: dict[str, Figure]
) -> None:
    layers = {layer.name: layer for layer in web_layers(toy_plan)}
    there = set(outcome(toy_plan.treatment_zones))
    assert {"atv_hose", "foot", "no_spray", "hand_only"} <= there
    patterns = dict(re.findall(r'<pattern id="fill-(\w+)".*?<rect [^>]*?fill="(#\w+)"', pattern_defs()))
    for place, name in enumerate(OUTCOMES):
        look, web = style.OUTCOME[name], layers["faces"].looks[place]
        assert (web["fill"], web["alpha"]) == (look.fill, look.alpha) and patterns[name] == look.fill
        path, _, _ = HATCHES[look.hatch[:1]]
        assert (web["hatch"] or {"path": ""})["path"] == path
        spot = layers["patches"].looks[place]
        assert spot["mark"] == mark_path(look.mark) and spot["fill"] == look.fill
        if name in there:
            assert (look.fill, look.alpha) in fills(drawn["overview"])
            assert not look.hatch or (look.hatch, look.hatch_color) in hatches(drawn["overview"])
    for name in set(toy_plan.limits.loc[toy_plan.limits["limit"] != "", "access"]):
        look = style.OUTCOME[name]
        assert (look.fill, look.alpha) in fills(drawn["limits"])
        assert (look.hatch, look.hatch_color) in hatches(drawn["limits"])


def test_zones_access_and_features_look_the_same_on_paper_and_on_the_field_map(
    toy_plan: Plan, drawn: dict[str, Figure]
) -> None:
    layers = {layer.name: layer for layer in web_layers(toy_plan)}
    for zone, look in style.ZONE.items():
        (web,) = layers[f"zone_{zone}"].looks
        assert (web["fill"], web["alpha"]) == (look.fill, look.alpha) and (look.fill, look.alpha) in fills(
            drawn["overview"]
        )
        assert (look.hatch, look.hatch_color) in hatches(drawn["overview"])
        assert web["hatch"]["color"] == look.hatch_color and web["hatch"]["path"] == HATCHES[look.hatch[:1]][0]
    for place, (name, look) in enumerate(style.ACCESS.items()):
        web = layers["access"].looks[place]
        assert (web["fill"], web["alpha"]) == (look.fill, look.alpha)
        assert name not in set(toy_plan.access["access"]) or (look.fill, look.alpha) in fills(drawn["access"])
    kinds = style.feature_marks(toy_plan.features["kind"])
    (well,) = (
        look
        for kind, look in zip(kinds, layers["feature_places"].looks, strict=True)
        if kind == "well"
    )  # fmt: skip
    assert well["mark"] == mark_path(kinds["well"])
    form = MarkerStyle(kinds["well"])
    assert str(form.get_path().transformed(form.get_transform()).vertices.tolist()) in forms(drawn["overview"])


def test_crew_files_have_the_colours_of_the_maps(toy_plan: Plan, tmp_path: Path) -> None:
    write_crew_files(toy_plan, tmp_path)
    for access in ("atv_hose", "foot"):
        looks = {"open": style.OUTCOME[access], "hand_only": style.OUTCOME["hand_only"],
                 "no_spray": style.ZONE["no_spray"], "hand_ground": style.ZONE["hand_only"]}  # fmt: skip
        root = ET.parse(tmp_path / "crew" / f"{access}.kml").getroot()
        said = {
            one.get("id"): one.find(".//{*}PolyStyle/{*}color").text[2:]  # type: ignore[union-attr, index]
            for one in root.iter("{http://www.opengis.net/kml/2.2}Style")
            if one.find(".//{*}PolyStyle") is not None
        }
        assert said == {name: kml_color(look.fill)[2:] for name, look in looks.items()}
