"""The package as a whole: public names, light import, the import contract."""

import subprocess
import sys
from pathlib import Path

import invasimap

ROOT = Path(__file__).parents[1]


def test_public_names_are_sorted_few_and_there():
    assert invasimap.__all__ == sorted(invasimap.__all__) and len(invasimap.__all__) <= 20
    for name in invasimap.__all__:
        found = getattr(invasimap, name)
        assert found.__doc__, name


def test_importing_the_package_loads_none_of_the_heavy_libraries():
    code = "import sys, invasimap, invasimap.cli; print(sorted({m.split('.')[0] for m in sys.modules}))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    for heavy in ("geopandas", "pandas", "matplotlib", "folium", "rasterio", "scipy", "shapely"):
        assert f"'{heavy}'" not in loaded, heavy


def test_imports_run_down_the_flow():
    lint = Path(sys.executable).with_name("lint-imports")
    found = subprocess.run([lint], cwd=ROOT, capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stdout


def test_top_level_holds_only_what_belongs_there():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout.split(
        "\n"
    )
    tops = {name.split("/")[0] for name in listed if name and not name.startswith(".")}
    allowed = {
        "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "invasimap", "notebooks", "tests", "sample_geodata",
    }  # fmt: skip
    assert tops <= allowed
