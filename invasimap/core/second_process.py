"""A second process of the same Python, where one can be had and there is a processor for it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import IO, Final

_SAME_MODULES: Final = "import json, sys; sys.path[:] = json.loads(sys.argv.pop()); "


def processors() -> int:
    """How many processors this process may use: a container or a scheduler may give it fewer than there are."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def can_start() -> bool:
    """Whether a second process helps and can be had: two processors, and a Python to start.

    In a program that holds Python inside, ``sys.executable`` is that program: it would start once more.
    """
    return processors() > 1 and "python" in Path(sys.executable or "").name.lower()


def start(
    code: str, *arguments: str, given: IO[bytes] | None = None, taken: IO[bytes] | None = None
) -> subprocess.Popen[bytes] | None:
    """Start code in a second process that finds the same modules; None where it cannot be had (see ``can_start``).

    Parameters
    ----------
    code
        Python statements; ``sys.argv[1:]`` are the arguments.
    given, taken
        Files for what it reads and writes; by default nothing.
    """
    if not can_start():
        return None
    nowhere = subprocess.DEVNULL
    found_in = [folder for folder in sys.path if isinstance(folder, str)]  # imports heed no other kind, such as a Path
    try:
        return subprocess.Popen(
            [sys.executable, "-P", "-c", _SAME_MODULES + code, *arguments, json.dumps(found_in)],
            stdin=given or nowhere, stdout=taken or nowhere, stderr=nowhere,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),  # no console comes up on Windows
        )  # fmt: skip
    except OSError:
        return None
