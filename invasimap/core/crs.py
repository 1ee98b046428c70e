"""The working reference system: equal-area, in metres, centred on the tract; and the door every layer comes through."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pyproj import CRS, Transformer

from invasimap.core.errors import CRSError, Fault

if TYPE_CHECKING:
    import geopandas as gpd

EDGE_M = 500.0  # longer edges get points before they are moved: a 500 m edge bows by under 1 cm
EDGE_DEG = 0.005
BEYOND = 1e9  # of any system, in metres or feet; a line drawn so far fills the memory when points are added
BEYOND_DEG = 720.0
# of a place that people read, in tables as in texts: about 1 m, finer than any receiver in the woods; shapes that are
# drawn or worked with keep more
PLACE_DECIMALS = 5


def working_crs(lon: float, lat: float) -> CRS:
    """Lambert azimuthal equal-area system in metres (WGS 84) centred on a place.

    Planar area in it is true area; within 10 km of the centre distances are true to 2 parts in a million.

    Examples
    --------
    >>> working_crs(-80.0, 38.0).axis_info[0].unit_name
    'metre'
    """
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise CRSError(Fault(where="working CRS", what=f"centre {lon}, {lat} is not a longitude and latitude"))
    lat, lon = round(lat, 3), round(lon, 3)
    found = CRS.from_proj4(f"+proj=laea +lat_0={lat} +lon_0={lon} +datum=WGS84 +units=m +no_defs +type=crs")
    name = f"Equal-area in metres, centred on {lat:.3f}, {lon:.3f}"
    return CRS.from_wkt(found.to_wkt().replace("unknown", name, 1))


def centre_lonlat(layer: gpd.GeoDataFrame) -> tuple[float, float]:
    """Longitude and latitude (WGS 84) of the middle of a layer's bounds."""
    require_crs(layer, "stands")
    left, bottom, right, top = layer.to_crs(4326).total_bounds
    return (left + right) / 2, (bottom + top) / 2


def require_crs(layer: gpd.GeoDataFrame, name: str) -> CRS:
    """The layer's reference system, or an error that names the layer."""
    if layer.crs is None:
        raise CRSError(
            Fault(where=name, what="has no coordinate reference system", mend=f'set crs = "EPSG:…" for {name}')
        )
    return CRS(layer.crs)


def require_same_metres(**layers: gpd.GeoDataFrame) -> CRS:
    """The one system in metres that all layers share.

    Raises
    ------
    CRSError
        Naming the layers that differ, or the layer that is not in metres.
    """
    found = {name: require_crs(layer, name) for name, layer in layers.items()}
    first = next(iter(found.values()))
    units = {name: crs.axis_info[0].unit_name for name, crs in found.items()}
    if any(crs != first for crs in found.values()) or set(units.values()) != {"metre"}:
        listed = ", ".join(f"{name} is {crs.name} ({units[name]})" for name, crs in found.items())
        raise CRSError(Fault(where="layers", what=f"must share one CRS in metres: {listed}", mend=_one_system(found)))
    return first


def _one_system(found: dict[str, CRS]) -> str:
    """How to bring layers to one system: that of the first one in metres, where there is one."""
    one = next((crs for crs in found.values() if crs.axis_info[0].unit_name == "metre"), None)
    if one is None:
        return "bring each to one system in metres, such as the UTM zone, with to_crs"
    code = ":".join(one.to_authority() or ())
    other = next(name for name, crs in found.items() if crs != one)
    return f'bring each to one of them that is in metres, as with {other}.to_crs("{code or one.name}")'


def to_working(layer: gpd.GeoDataFrame, crs: CRS, *, name: str) -> gpd.GeoDataFrame:
    """The layer in the working system, flat (no z), long edges densified first.

    Raises
    ------
    CRSError
        When it has no system, or coordinates that lie beyond the globe in it.
    """
    source = require_crs(layer, name)
    coords = shapely.get_coordinates(layer.geometry.to_numpy())
    if (np.abs(np.nan_to_num(coords)) > (BEYOND_DEG if source.is_geographic else BEYOND)).any():
        what = f"has coordinates beyond the globe in {source.name}"
        raise CRSError(Fault(where=name, what=what, mend="check its crs, and the shapes at its edges"))
    edge = EDGE_DEG if source.is_geographic else EDGE_M / (source.axis_info[0].unit_conversion_factor or 1.0)
    flat = shapely.force_2d(layer.geometry.to_numpy())
    return layer.set_geometry(shapely.segmentize(flat, edge), crs=layer.crs).to_crs(crs)


def shown_place(lat: float, lon: float) -> str:
    """A place as people read it: latitude, longitude in degrees, to about a metre; empty text where it is not known.

    Examples
    --------
    >>> shown_place(38.2652791, -79.5), shown_place(float("nan"), -79.5)
    ('38.26528, -79.50000', '')
    """
    if not (np.isfinite(lat) and np.isfinite(lon)):
        return ""
    return f"{lat:.{PLACE_DECIMALS}f}, {lon:.{PLACE_DECIMALS}f}"


@lru_cache(maxsize=64)
def to_lonlat(crs: CRS) -> Transformer:
    """Transformer from the working system to longitude and latitude (WGS 84)."""
    return Transformer.from_crs(crs, 4326, always_xy=True)


def read_crs(text: Any, *, where: str) -> CRS:
    """A reference system as the user wrote it.

    Raises
    ------
    CRSError
        When it is not known.
    """
    try:
        return CRS.from_user_input(text)
    except Exception as error:  # pyproj raises several kinds
        raise CRSError(
            Fault(where=where, what=f"crs {text!r} is not known", mend='write one such as "EPSG:4326"')
        ) from error
