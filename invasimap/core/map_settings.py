"""What a ``tract.toml`` may say about the field map: pictures of the ground that its reader may turn on."""

from __future__ import annotations

import re

from pydantic import Field, field_validator

from invasimap.core.quantities import Section

_ADDRESS = re.compile(r"https?://[A-Za-z0-9.\-]+(?::\d+)?/[A-Za-z0-9._~\-/?&=%+,:;{}]*")
_PARTS = ("{z}", "{x}", "{y}")


class BackgroundSection(Section):
    """``[map] background``: pictures of the ground that a reader of the field map may ask for; nobody else does.

    ``address`` is that of square pictures by zoom, column and row, ``attribution`` what their makers want said, and
    ``max_zoom`` the finest zoom they are made for.
    """

    address: str
    attribution: str = Field(min_length=1)
    max_zoom: int = Field(19, ge=1, le=24)

    @field_validator("address")
    @classmethod
    def _has_every_part(cls, address: str) -> str:
        rest = address
        for part in _PARTS:
            rest = rest.replace(part, "", 1)
        if not _ADDRESS.fullmatch(address) or len(address) - len(rest) != 9 or set(rest) & set("{}"):
            raise ValueError(
                f"address {address!r} is none of map pictures: write one with {{z}}, {{x}} and {{y}} once each, "
                'such as "https://maps.example.org/{z}/{x}/{y}.png"'
            )
        return address


class MapSection(Section):
    """``[map]``: the field map."""

    background: BackgroundSection | None = None
