"""Maps, legend and charts look as they did when somebody last looked at them (to renew: ``kept_pictures.py``)."""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from kept_pictures import PICTURES, TILE_PX, difference, keep, kept
from PIL import Image

from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers, style

# Of 255. The same drawing by matplotlib 3.10.0 and 3.11.2 differs by 0.2 over all and 0.7 in a tile at most; of fifteen
# changes of looks that were tried, the least (barriers without their strokes, water of another blue) by 0.6 and 4.6.
MOST_OVERALL, MOST_IN_A_TILE = 0.5, 3.0


@pytest.fixture(scope="module")
def drawn(toy_plan: Plan) -> dict[str, Any]:
    return {name: draw(toy_plan) for name, draw in PICTURES.items()}


@pytest.mark.parametrize("name", PICTURES)
def test_picture_is_as_it_was(name: str, drawn: dict[str, Any], tmp_path: Path) -> None:
    if os.environ.get("RENEW_PICTURES") == "yes":
        keep(name, drawn[name])
    was = kept(name)
    assert drawn[name].shape == was.shape
    overall, worst = difference(drawn[name], was)
    if overall > MOST_OVERALL or worst > MOST_IN_A_TILE:
        Image.fromarray(np.hstack([was, drawn[name]])).save(tmp_path / f"{name}_was_and_is.png")
        pytest.fail(
            f"{name} differs by {overall:.2f} over all (at most {MOST_OVERALL}) and {worst:.1f} in a tile (at most "
            f"{MOST_IN_A_TILE}): look at {tmp_path / f'{name}_was_and_is.png'}"
        )


def differs(name: str, drawn: dict[str, Any], plan: Plan) -> bool:
    overall, worst = difference(PICTURES[name](plan), drawn[name])
    return overall > MOST_OVERALL or worst > MOST_IN_A_TILE


def test_a_zone_that_is_not_drawn_is_seen(
    drawn: dict[str, Any], toy_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(map_layers, "draw_zones", lambda ax, plan: None)
    assert differs("overview", drawn, toy_plan)


def test_two_colours_that_are_swapped_are_seen(
    drawn: dict[str, Any], toy_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, other = style.OUTCOME["tractor"], style.OUTCOME["atv_hose"]
    monkeypatch.setitem(style.OUTCOME, "tractor", dataclasses.replace(one, fill=other.fill))
    monkeypatch.setitem(style.OUTCOME, "atv_hose", dataclasses.replace(other, fill=one.fill))
    assert differs("legend", drawn, toy_plan) and differs("access_limits", drawn, toy_plan)


def test_a_shade_at_an_edge_is_no_difference_and_a_lost_mark_is_one() -> None:
    edge = np.full((120, 120, 3), 255, np.uint8)
    edge[:, 60:] = 40
    nearly, marked = edge.copy(), edge.copy()
    nearly[:, 59] = 250  # an edge drawn a twentieth of a pixel farther left
    marked[30:34, 30:34] = 0
    assert difference(edge, nearly)[1] < MOST_IN_A_TILE < difference(edge, marked)[1]
    assert difference(edge, edge) == (0.0, 0.0) and TILE_PX == 12
