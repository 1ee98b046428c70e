"""From a folder of field files to treatable acres, zones, access and maps for invasive plants in woodland.

The flow, a step a line; each step also serves alone, on GeoDataFrames in one system in metres::

    read_tract            a tract.toml, checked
    read_land             stands, water, ways and land, in the tract's equal-area system
    read_survey           field records -> patches, with the ledger of every record
    read_terrain          elevation on a square grid
    protection_zones      where spray must not go
    access_classes        what tractor, hose and foot reach (on make_ground)
    access                the same from your own elevation and layers as they are, by itself
    cut_faces             survey laid over land: one partition
    acreage, ground_area  the tables
    treatment_zones       where crews work
    plan, write_plan      all of it, and its files
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from invasimap.core.crs import working_crs
    from invasimap.core.errors import InputError, InvasimapError
    from invasimap.core.toml_file import read_tract
    from invasimap.inputs.layers import read_layer
    from invasimap.inputs.species import load_catalogue
    from invasimap.inputs.survey import read_survey
    from invasimap.land.access import access_classes
    from invasimap.land.alone import access
    from invasimap.land.ground import make_ground
    from invasimap.land.layers import read_land
    from invasimap.land.protection import protection_zones
    from invasimap.land.terrain import read_terrain
    from invasimap.mosaic.acreage import acreage, ground_area
    from invasimap.mosaic.faces import cut_faces
    from invasimap.mosaic.zones import treatment_zones
    from invasimap.pipeline import plan, write_plan
    from invasimap.prescription.plan import Plan

__version__ = "0.1.0"

__all__ = [
    "InputError",
    "InvasimapError",
    "Plan",
    "access",
    "access_classes",
    "acreage",
    "cut_faces",
    "ground_area",
    "load_catalogue",
    "make_ground",
    "plan",
    "protection_zones",
    "read_land",
    "read_layer",
    "read_survey",
    "read_terrain",
    "read_tract",
    "treatment_zones",
    "working_crs",
    "write_plan",
]

# where each public name lives; loaded on first use, so that importing the package stays light
_HOMES = {
    "InputError": "core.errors",
    "InvasimapError": "core.errors",
    "Plan": "prescription.plan",
    "access": "land.alone",
    "access_classes": "land.access",
    "acreage": "mosaic.acreage",
    "cut_faces": "mosaic.faces",
    "ground_area": "mosaic.acreage",
    "load_catalogue": "inputs.species",
    "make_ground": "land.ground",
    "plan": "pipeline",
    "protection_zones": "land.protection",
    "read_land": "land.layers",
    "read_layer": "inputs.layers",
    "read_survey": "inputs.survey",
    "read_terrain": "land.terrain",
    "read_tract": "core.toml_file",
    "treatment_zones": "mosaic.zones",
    "working_crs": "core.crs",
    "write_plan": "pipeline",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
