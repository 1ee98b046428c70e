"""Whole or not at all."""

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from invasimap.core.errors import InputError
from invasimap.core.files import sha256, whole_folder


def write_result(folder, text):
    (folder / "a.txt").write_text(text)
    (folder / "run.json").write_text('{"program": "invasimap", "outputs": ["a.txt"]}')


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
    with pytest.raises(InputError, match="nothing is written over"), whole_folder(tmp_path):
        pytest.fail("the block must not run")
    assert (tmp_path / "photo.jpg").exists()


@pytest.mark.parametrize("run", ["{}", '{"my": "robot"}', "[]", "not json", '{"program": "invasimap"}'])
def test_a_folder_is_ours_only_when_its_run_record_says_what_it_wrote(tmp_path, run):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "run.json").write_text(run)
    (tmp_path / "out" / "photo.jpg").write_text("x")
    with pytest.raises(InputError, match="nothing is written over"), whole_folder(tmp_path / "out"):
        pytest.fail("the block must not run")
    assert (tmp_path / "out" / "photo.jpg").exists()


def test_what_the_user_put_beside_an_earlier_result_is_never_lost(tmp_path):
    with whole_folder(tmp_path / "out") as scratch:
        write_result(scratch, "first")
    (tmp_path / "out" / "plan.gpkg-wal").write_text("")
    (tmp_path / "out" / "notes").mkdir()
    (tmp_path / "out" / "notes" / "mine.docx").write_text("x")
    with pytest.raises(InputError, match=r"mine\.docx"), whole_folder(tmp_path / "out"):
        pytest.fail("the block must not run")
    assert (tmp_path / "out" / "notes" / "mine.docx").exists()


def test_a_folder_that_holds_the_inputs_is_refused_even_with_a_run_record(tmp_path):
    write_result(tmp_path, "field data")
    with pytest.raises(InputError, match="is an input"), whole_folder(tmp_path, inputs=[tmp_path / "a.txt"]):
        pytest.fail("the block must not run")
    assert (tmp_path / "a.txt").read_text() == "field data"


def test_a_place_that_cannot_be_written_is_the_users_to_mend():
    with pytest.raises(InputError, match="cannot be written"), whole_folder(Path("/proc/none/out")):
        pytest.fail("the block must not run")


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


def test_killed_between_the_two_moves_the_earlier_result_comes_back(tmp_path):
    with whole_folder(tmp_path / "out") as scratch:
        write_result(scratch, "first")
    aside = tmp_path / ".out.x1.old"
    aside.mkdir()
    (tmp_path / "out").rename(aside / "out")  # as the replacement leaves it when it dies here
    with pytest.raises(RuntimeError), whole_folder(tmp_path / "out"):
        raise RuntimeError
    assert (tmp_path / "out" / "a.txt").read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_digest_of_a_file_is_the_standard_one(tmp_path):
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256(tmp_path / "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
