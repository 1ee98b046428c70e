"""The README's own example and settings hold."""

import re
import subprocess
import sys
from pathlib import Path

from invasimap.core.toml_file import read_tract

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"^ *```{language}\n(.*?)^ *```", README, flags=re.M | re.S)


def test_python_example_prints_what_it_says():
    (code,) = blocks("python")
    said = re.findall(r"^# (\{.*\})$", code, flags=re.M)[-1]
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == said


def test_settings_example_is_accepted(tmp_path):
    (text,) = blocks("toml")
    (tmp_path / "tract.toml").write_text(re.sub(r"^   ", "", text, flags=re.M), encoding="utf-8")
    tract = read_tract(tmp_path)
    assert tract.protect[0].kind == "perennial stream" and tract.access.foot.max_walk_min == 30


def test_two_commands_set_themselves_up():
    commands = [line for block in blocks("sh") for line in block.splitlines()]
    assert len(commands) == 2
    assert all(command.startswith("python3 -m venv .venv && .venv/bin/pip install") for command in commands)
