"""The map book: index, words, a sheet for each stand, then where patches are; every page georeferenced."""

from __future__ import annotations

import dataclasses
import io
import warnings
from collections.abc import Iterator

import matplotlib as mpl
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from invasimap.prescription.plan import Plan
from invasimap.reports.book_frames import COMFORTABLE, Frame, needed_first, upright_or_across
from invasimap.reports.book_index import index_sheet
from invasimap.reports.book_key import key_pages, key_sheet
from invasimap.reports.book_layout import Book
from invasimap.reports.book_list import list_sheet, with_lists
from invasimap.reports.book_part import Box, ready
from invasimap.reports.book_sheet import served_lines, stand_sheet, with_foot
from invasimap.reports.geopdf import Placed, georeferenced
from invasimap.reports.pdf_words import Word, take_words
from invasimap.reports.relief import contour_interval
from invasimap.reports.sheet import PAPER_IN, Sheet
from invasimap.reports.wording import TREATABLE, outcome

RASTER_DPI = 110  # of the shade under the lines; everything else is drawn as lines
COLLAR_IN = 0.17


def mapbook_pdf(plan: Plan) -> bytes:
    """The whole book as one PDF, the same bytes for the same plan."""
    book, stream, placed = laid_out(plan), io.BytesIO(), []
    words: list[list[Word]] = []
    with (
        mpl.rc_context({"pdf.fonttype": 42, "pdf.compression": 3}),
        warnings.catch_warnings(),
        PdfPages(stream, metadata={"CreationDate": None, "ModDate": None, "Producer": None, "Creator": None}) as pages,
    ):
        warnings.filterwarnings("ignore", message=r"(?s)Glyph .* missing from font")
        for figure, bounds in sheets(book):
            words.append(take_words(figure))
            pages.savefig(figure, dpi=RASTER_DPI)
            placed.append(Placed(paper_in=book.paper.map_box_in, ground=bounds))
    title = f"{plan.settings.tract.name}: map book"
    return georeferenced(stream.getvalue(), placed, plan.crs, title=title, words=words)


def laid_out(plan: Plan) -> Book:
    """The book's paper and frames."""
    wanted, shown = plan.settings.mapbook, plan.shown
    scales = COMFORTABLE[shown.length] if wanted.scale is None else (wanted.scale,)
    papers = papers_of(plan, wanted.paper or ("letter" if shown.length == "ft" else "a4"))
    at, found = upright_or_across(plan.stands, [paper.map_in for paper in papers], scales=scales)
    made = ready(plan)
    frames, left_out = chosen(made, found, wanted.most_sheets)
    book = Book(
        plan=made, paper=papers[at], frames=frames, left_out=left_out, first=1, pages=len(frames),
        interval=contour_interval(plan.terrain, shown), served=served_lines(plan),
    )  # fmt: skip
    before = 1 + len(key_pages(book))
    book = dataclasses.replace(book, first=1 + before)
    return with_lists(book, before=before)


def chosen(plan: Plan, found: list[Frame], most: int) -> tuple[list[Frame], tuple[tuple[str, bool], ...]]:
    """The frames that have a sheet, and by name the others with whether anything grows there."""
    zones = plan.treatment_zones
    to_do = zones[outcome(zones).isin((*TREATABLE, "hand_only"))] if len(zones) else zones
    kept, grown = needed_first(
        found, most=most, to_do=to_do.geometry.to_numpy(), infested=zones.geometry.to_numpy()
    )  # fmt: skip
    others = sorted(set(range(len(found))) - set(kept))
    return [found[at] for at in kept], tuple((found[at].name, at in set(grown)) for at in others)


def papers_of(plan: Plan, name: str) -> tuple[Sheet, Sheet]:
    """A paper across and upright, laid out for a sheet of the book."""
    long, short = PAPER_IN[name]
    across, upright = (Sheet(width_in=w, height_in=h, collar_in=COLLAR_IN) for w, h in ((long, short), (short, long)))
    return with_foot(across, plan), with_foot(upright, plan)


def sheets(book: Book) -> Iterator[tuple[Figure, Box]]:
    """Every sheet with what its map shows, in the order of the book; each is drawn when it is asked for."""
    yield index_sheet(book)
    for at, columns in enumerate(key_pages(book)):
        yield key_sheet(book, at, columns)
    for at in range(len(book.frames)):
        yield stand_sheet(book, at)
    for at in range(len(book.lists)):
        yield list_sheet(book, at)
