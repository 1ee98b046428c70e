"""The notebooks run from top to bottom."""

import json
from pathlib import Path

import matplotlib.pyplot as plt
import pytest

import invasimap
from invasimap.prescription.sharing import shown_settings

FOLDER = Path(__file__).parents[1] / "notebooks"


@pytest.mark.filterwarnings("ignore:FigureCanvasAgg is non-interactive:UserWarning")
@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.ipynb")), ids=lambda path: path.stem)
def test_notebook_runs(path, sample_plan, monkeypatch):
    plan, _ = sample_plan

    def planned(tract):
        """The plan of the sample tract, which is made once for all tests; of nothing else."""
        drawn = tract.with_draws(plan.settings.uncertainty.draws)
        assert shown_settings(drawn, internal=False) == plan.settings
        return plan

    book = json.loads(path.read_text(encoding="utf-8"))
    cells = ["".join(cell["source"]) for cell in book["cells"] if cell["cell_type"] == "code"]
    monkeypatch.chdir(FOLDER)
    monkeypatch.setattr(invasimap, "plan", planned)
    plt.switch_backend("Agg")
    exec(compile("\n".join(cells), path.name, "exec"), {"__name__": "__main__"})
    drawn = [plt.figure(number) for number in plt.get_fignums()]
    assert drawn and all(figure.axes[0].get_children() for figure in drawn)
    plt.close("all")
    assert path.stat().st_size < 800_000  # small static pictures
