"""Whole or not at all."""

import os
import signal
import subprocess
import sys
import textwrap

import pytest

from invasimap.core.errors import InputError
from invasimap.core.files import sha256, whole_folder


def write_result(folder, text):
    (folder / "a.txt").write_text(text)
    (folder / "run.json").write_text("{}")


def test_result_appears_whole_and_replaces_an_earlier_one(tmp_path):
    for text in ("first", "second"):
        with whole_folder(tmp_path / "out") as scratch:
            write_result(scratch, text)
            assert not (tmp_path / "out").exists() or (tmp_path / "out" / "a.txt").read_text() != text
        assert (tmp_path / "out" / "a.txt").read_text() == text
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_error_leaves_the_earlier_result_and_no_scraps(tmp_path):
    with whole_folder(tmp_path / "out") as scratch:
        write_result(scratch, "first")
    with pytest.raises(RuntimeError), whole_folder(tmp_path / "out") as scratch:
        write_result(scratch, "second")
        raise RuntimeError
    assert (tmp_path / "out" / "a.txt").read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_somebody_elses_folder_is_refused(tmp_path):
    (tmp_path / "photo.jpg").write_text("x")
    with pytest.raises(InputError, match="nothing is written over it"), whole_folder(tmp_path):
        pytest.fail("the block must not run")
    assert (tmp_path / "photo.jpg").exists()


def test_killed_while_writing_leaves_the_earlier_result(tmp_path):
    with whole_folder(tmp_path / "out") as scratch:
        write_result(scratch, "first")
    code = f"""
        import os, signal
        from pathlib import Path
        from invasimap.core.files import whole_folder
        with whole_folder(Path({str(tmp_path / "out")!r})) as scratch:
            (scratch / "a.txt").write_text("half")
            os.kill(os.getpid(), signal.SIGKILL)
    """
    died = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], env={**os.environ}, check=False)
    assert died.returncode == -signal.SIGKILL
    assert (tmp_path / "out" / "a.txt").read_text() == "first"


def test_digest_of_a_file_is_the_standard_one(tmp_path):
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256(tmp_path / "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
