"""Pictures drawn by a second process while this one writes the rest; the same bytes as drawn here."""

from __future__ import annotations

import pickle
import subprocess
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from typing import IO

from invasimap.core.second_process import can_start, start
from invasimap.prescription.plan import Plan

WORTH_CELLS = 250_000  # a second process takes a second or two to start: smaller tracts are drawn sooner here
_CHILD = "from invasimap.reports.pictures import answer; answer()"
BOOK, LOADS = "mapbook", "loadsheet"  # those among the pictures that are a PDF
Pictures = Callable[[], Mapping[str, bytes]]


@contextmanager
def pictures_apart(plan: Plan) -> Iterator[Pictures]:
    """Start to draw the pictures of a plan; gives what waits for them (``pictures.pictures``).

    Of a small tract, or where no second process is to be had, they are drawn only then and here; also when it gave
    none, so that what is wrong shows itself.
    """
    if plan.terrain.elevation_m.size < WORTH_CELLS or not can_start():
        yield partial(_drawn_here, plan)
        return
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as drawn:
        pickle.dump(plan, given)
        given.seek(0)
        process = start(_CHILD, given=given, taken=drawn)
        if process is None:
            yield partial(_drawn_here, plan)
            return
        try:
            yield partial(_drawn_apart, plan, process, drawn)
        finally:
            process.kill()
            process.wait()


def _drawn_apart(plan: Plan, process: subprocess.Popen[bytes], drawn: IO[bytes]) -> Mapping[str, bytes]:
    if process.wait() != 0:
        return _drawn_here(plan)
    drawn.seek(0)
    found: Mapping[str, bytes] = pickle.load(drawn)
    return found


def _drawn_here(plan: Plan) -> Mapping[str, bytes]:
    from invasimap.reports.pictures import pictures  # the drawing library takes a second to load

    return pictures(plan)
