"""One-file web pages: Leaflet and jQuery from installed packages, written into the page; nothing is fetched."""

from __future__ import annotations

import base64
import re
from functools import cache
from html import escape
from importlib import metadata
from pathlib import Path
from typing import Any

import folium
from branca.element import Element, MacroElement
from jinja2 import Template

LEAFLET = ("XStatic-Leaflet", "xstatic/pkg/leaflet/data")
JQUERY = ("XStatic-jQuery", "xstatic/pkg/jquery/data")
_ENTITIES = {ord(letter): f"&#{ord(letter)};" for letter in "{}$`\\"}
_IMAGE = re.compile(r"url\((images/[\w.\-]+\.png)\)")
_FETCHES = re.compile(
    r"""(?:\bsrc|\bhref)\s*=\s*["']?\s*(?:https?:)?//|url\(\s*["']?(?:https?:)?//|@import""", re.IGNORECASE
)


class Inline(Element):
    """Text put into a page as it is; braces in it are not read as a template."""

    _template = Template("{{ this.text }}")

    def __init__(self, text: str) -> None:
        super().__init__()
        self._name = "Inline"
        self.text = text


class AfterMap(MacroElement):
    """Script that runs once the map it is added to stands; ``MAP_NAME`` in it is the map's variable."""

    _template = Template("{% macro script(this, kwargs) %}{{ this.code() }}{% endmacro %}")

    def __init__(self, text: str) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "AfterMap"
        self.text = text

    def code(self) -> str:
        """The script with the map's variable in place."""
        field: Any = self._parent
        return self.text.replace("MAP_NAME", field.get_name())


class OfflineMap(folium.Map):
    """A folium map whose page holds its own scripts and styles and links to none."""

    def __init__(self, **options: Any) -> None:
        super().__init__(tiles=None, **options)
        self.default_js = []
        self.default_css = []
        root: Any = self.get_root()
        header = root.header
        header.add_child(Inline(f"<script>{asset(*JQUERY, 'jquery.min.js')}</script>"), name="jquery")
        header.add_child(Inline(f"<style>{leaflet_css()}</style>"), name="leaflet_css")
        header.add_child(Inline(f"<script>{asset(*LEAFLET, 'leaflet.js')}</script>"), name="leaflet")


def asset_path(package: str, folder: str, name: str) -> Path:
    """Where an installed package keeps a file."""
    return Path(str(metadata.distribution(package).locate_file(f"{folder}/{name}")))


@cache
def asset(package: str, folder: str, name: str) -> str:
    """Text of a file that an installed package ships."""
    text = asset_path(package, folder, name).read_text(encoding="utf-8")
    text = re.sub(r"//# sourceMappingURL=\S*", "", text).replace('href="https://leafletjs.com"', "")
    return text.replace("</script", "<\\/script")


def leaflet_css() -> str:
    """Leaflet's style sheet with its images inside."""
    package, folder = LEAFLET

    def inside(match: re.Match[str]) -> str:
        return f"url({data_uri(asset_path(package, folder, match[1]).read_bytes(), 'image/png')})"

    return _IMAGE.sub(inside, asset(package, folder, "leaflet.css"))


def safe_html(text: str) -> str:
    """Text that stays text in HTML, in a JavaScript string or template literal and in a page template.

    The map library reads what it has rendered as a template once more, so braces are written as entities too.

    Examples
    --------
    >>> safe_html("<b> {{x}} ${y}")
    '&lt;b&gt; &#123;&#123;x&#125;&#125; &#36;&#123;y&#125;'
    """
    return escape(text, quote=True).translate(_ENTITIES)


def data_uri(content: bytes, kind: str) -> str:
    """Bytes as an address that needs no fetching."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def fetched(page: str) -> list[str]:
    """Whatever in a page would be fetched from elsewhere; empty for a page that stands alone."""
    return [page[match.start() : match.start() + 120] for match in _FETCHES.finditer(page)]
