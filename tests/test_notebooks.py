"""The notebooks run from top to bottom."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[1] / "notebooks"


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.ipynb")), ids=lambda path: path.stem)
def test_notebook_runs(path):
    book = json.loads(path.read_text(encoding="utf-8"))
    cells = ["".join(cell["source"]) for cell in book["cells"] if cell["cell_type"] == "code"]
    ran = subprocess.run(
        [sys.executable, "-c", "\n".join(cells)],
        cwd=FOLDER, env={**os.environ, "MPLBACKEND": "Agg"}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-2000:]
    assert path.stat().st_size < 800_000  # small static pictures
