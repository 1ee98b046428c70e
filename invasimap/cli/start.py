"""``invasimap start``: a look through a folder, and a first ``tract.toml``."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from invasimap.cli.commands import QUIET, VERBOSE
from invasimap.cli.progress import Progress
from invasimap.core.errors import Fault, InputError
from invasimap.core.legible import visible


@click.command("start")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="File to write [default: tract.toml in FOLDER].")
@QUIET
@VERBOSE
def start_command(folder: Path, out: Path | None, quiet: bool, verbose: bool) -> None:
    """Look at the files in FOLDER, say what each seems to be, and write a commented tract.toml.

    Distances and limits are left for you to type. A settings file that is there is never written over.

    \b
    Example:
      invasimap start my-tract/
    """
    from invasimap.inputs.draft import draft, place_of, settle
    from invasimap.inputs.folder import look_through
    from invasimap.inputs.species import load_catalogue

    progress = Progress(quiet=quiet, verbose=verbose)
    target = out or folder / "tract.toml"
    _refuse_existing(target)
    with progress("Looking through the folder"):
        settled = settle(look_through(folder, species=load_catalogue()))
    up = os.path.relpath(folder.resolve(), target.resolve().parent)
    made = draft(
        settled,
        title=folder.resolve().name or "tract",
        folder=str(folder),
        path_of=lambda name: name if up == os.curdir else (Path(up) / name).as_posix(),
    )
    _write_new(target, made.text)
    for number, finding in enumerate(settled.found):
        why = settled.off.get(number)
        kept = f" BUT NOT USED: {why}" if why else ""
        progress.say(f"{place_of(finding)}: {finding.guess.label}: {visible(finding.guess.reason)}{kept}")
    _finish(target, made.faults, progress)


def _finish(target: Path, faults: tuple[Fault, ...], progress: Progress) -> None:
    """Try the draft as ``check`` would, and say what is next; exit 2 when it cannot be planned yet."""
    from invasimap.core.toml_file import read_tract
    from invasimap.reading import read_inputs

    found = list(faults)
    if not found:
        try:
            progress.notes(read_inputs(read_tract(target), step=progress)[-1])
        except InputError as error:
            found += error.faults
    if found:
        listed = visible("\n".join(map(str, found)), lines=True)
        count = f"{len(found)} fault{'s' if len(found) > 1 else ''}"
        click.echo(f"{target} is written, but cannot be planned yet; {count}:\n{listed}", err=True)
        sys.exit(InputError.exit_code)
    progress.say(f"Written: {target}. Next: fill in its [[protect]] blocks and [access.*] sections, then")
    progress.say(f"  invasimap check {target}")


def _refuse_existing(target: Path) -> None:
    if target.exists() or target.is_symlink():
        what, mend = "is there already, and is never written over", "move it, or name another file with --out"
        raise InputError(Fault(where=str(target), what=what, mend=mend))


def _write_new(target: Path, text: str) -> None:
    """Write a file that must not be there yet."""
    try:
        with target.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        _refuse_existing(target)
    except OSError as error:
        raise InputError(Fault(where=str(target), what=f"cannot be written: {error.strerror}")) from error
