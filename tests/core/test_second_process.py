"""A second process is started where there is a processor for it and a Python to start, with the same modules."""

import os
import sys

import pytest

from invasimap.core import second_process


def test_processors_are_those_this_process_may_use(monkeypatch):
    """A container that is given one of a machine's many processors has one."""
    monkeypatch.setattr(os, "sched_getaffinity", lambda _pid: {3}, raising=False)
    monkeypatch.setattr(os, "cpu_count", lambda: 64)
    assert second_process.processors() == 1 and not second_process.can_start()
    monkeypatch.delattr(os, "sched_getaffinity")
    assert second_process.processors() == 64 and second_process.can_start()


@pytest.mark.parametrize("program", ["", None, "/opt/steward/steward", "C:/gis/bin/gis.exe"])
def test_a_program_that_is_no_python_is_not_started_again(program, monkeypatch):
    monkeypatch.setattr(second_process, "processors", lambda: 2)
    monkeypatch.setattr(sys, "executable", program)
    monkeypatch.setattr("subprocess.Popen", lambda *_, **__: pytest.fail("started"))
    assert second_process.start("pass") is None


def test_a_python_that_is_gone_gives_none(monkeypatch):
    monkeypatch.setattr(second_process, "processors", lambda: 2)
    monkeypatch.setattr(sys, "executable", "/nowhere/python3")
    assert second_process.start("pass") is None


def test_it_finds_the_same_modules_and_reads_and_writes_what_it_is_given(tmp_path, monkeypatch):
    (tmp_path / "of_this_test.py").write_text("WORD = 'here'")
    (tmp_path / "given").write_bytes(b"given")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(sys, "path", [tmp_path / "no text", *sys.path])
    monkeypatch.setattr(second_process, "processors", lambda: 2)
    code = "import of_this_test; print(of_this_test.WORD, sys.argv[1:], sys.stdin.read())"
    with (tmp_path / "given").open("rb") as given, (tmp_path / "taken").open("wb") as taken:
        process = second_process.start(code, "one", given=given, taken=taken)
        assert process is not None and process.wait() == 0
    assert (tmp_path / "taken").read_text().split("\n")[0] == "here ['one'] given"
