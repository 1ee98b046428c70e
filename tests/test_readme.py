"""The README's own example and settings hold."""

import re
import subprocess
import sys
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel

from invasimap.core.settings import ConfidentialSection, Tract, fresh_words
from invasimap.core.survey_settings import Defaults, IntakeSection
from invasimap.core.toml_file import read_tract
from invasimap.inputs.catalogue import STATUSES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"^ *```{language}\n(.*?)^ *```", README, flags=re.M | re.S)


@pytest.mark.parametrize("code", blocks("python"))
def test_python_examples_print_what_they_say(code):
    said = re.findall(r"^# (.*)$", code, flags=re.M)
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said and ran.stdout.splitlines() == said


def test_settings_example_is_accepted(tmp_path):
    text, _, _ = blocks("toml")
    (tmp_path / "tract.toml").write_text(re.sub(r"^   ", "", text, flags=re.M), encoding="utf-8")
    tract = read_tract(tmp_path)
    assert tract.protect[0].kind == "perennial stream" and tract.access.foot.max_walk_min == 30


def test_two_commands_set_themselves_up():
    commands = [line for block in blocks("sh") for line in block.splitlines()]
    assert len(commands) == 2
    assert all(command.startswith("python3 -m venv .venv && .venv/bin/pip install") for command in commands)


def test_the_settings_of_field_files_are_valid_and_show_the_defaults(tmp_path):
    _, hides, text = blocks("toml")
    head = '[tract]\nname = "A"\n[stands]\nfile = "a.gpkg"\n'
    (tmp_path / "tract.toml").write_text(head + text, encoding="utf-8")
    tract = read_tract(tmp_path)
    (tmp_path / "tract.toml").write_text(head + text + hides.replace('"..."', f'"{fresh_words()}"'), encoding="utf-8")
    assert read_tract(tmp_path).confidential.hide_within_m == ConfidentialSection(words="x" * 16).hide_within_m
    assert tract.photos[0].within_m == pytest.approx(15.24)
    shown = tract.intake.model_copy(update={"species": None, "cover_scales": {}})
    assert shown == IntakeSection()
    dates = {"native_leaf_drop", "killing_freeze", "full_leaf", "leaf_colour", "sap_flow"}
    for section, must in (
        (tract.technique, {"rules"}),
        (tract.season, dates | {"reference", "degree_days"}),
        (tract.season.degree_days, {"method"}),
        (tract.access, set()),
        (tract.access.atv, {"max_slope_pct", "max_side_slope_pct", "clearance_m", "hose_length_m"}),
        (tract.access.foot, {"max_slope_pct", "max_walk_min"}),
    ):
        fields = type(section).model_fields
        said = {name for name in section.model_fields_set - must if name not in ("tractor", "atv", "foot")}
        assert said and all(getattr(section, name) == pytest.approx(fields[name].default) for name in said)
        assert said >= {name for name in fields if isinstance(fields[name].default, float | int)}


def keys(model, at=""):
    """Every key that a section of the settings takes, those of its own tables too, as the file writes them."""
    for name, field in model.model_fields.items():
        key = field.alias or name
        yield f"{at}{key}"
        for inner in models(field.annotation):
            yield from keys(inner, f"{at}{key}.")


def models(kind):
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
    for part in get_args(kind):
        yield from models(part)


def test_every_setting_is_shown():
    """In the README's list; what no step of ``plan`` takes yet, in its words on these steps or in the sample tract."""
    readme, sample = "\n".join(blocks("toml")), (ROOT / "sample_geodata" / "tract.toml").read_text(encoding="utf-8")
    later = ("mix", "rig", "budget", "spray", "labour")
    every = list(keys(Tract))
    assert {"protect.per_slope", "emergency.leave_by", "access.atv.pump_pressure", "map.background.max_zoom"} <= {
        *every
    }
    missing = [
        key for key in every
        if not re.search(rf"\b{key.rpartition('.')[2]}\b", README + sample if key.startswith(later) else readme)
    ]  # fmt: skip
    assert " ".join(missing) == ""


def test_keys_of_defaults_and_statuses_of_plants_are_listed():
    listed = re.search(r"^defaults = .*# where a record has none: (.*)$", README, flags=re.M)[1].split(", ")
    assert listed == [field.alias for field in Defaults.model_fields.values()]
    said = re.search(r"status \((.*)\)$", README, flags=re.M)[1]
    assert re.findall('"(\\w+)"', said) == list(STATUSES)
