"""The commands; heavy imports wait until one runs, so that help is quick."""

from __future__ import annotations

import json
import math
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from invasimap.cli.progress import Progress
from invasimap.core.errors import InputError
from invasimap.core.files import RESULTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from invasimap.core.errors import Fault
    from invasimap.core.settings import Tract
    from invasimap.prescription.plan import Plan
    from invasimap.reading import Inputs

TRACT = click.argument("tract", type=click.Path(path_type=Path))
QUIET = click.option("--quiet", "-q", is_flag=True, help="Say nothing but faults.")
VERBOSE = click.option("--verbose", "-v", is_flag=True, help="Show every step and every note.")


@click.command("plan")
@TRACT
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the results [default: out/ beside TRACT].")
@click.option(
    "--draws",
    type=int,
    metavar="N",
    help="Surveys drawn for the 90 % ranges; 0 for none [default: of the settings, 500].",
)
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="KEY=VALUE",
    help="What if: another value of a setting, this once [default folder: out_trial/ beside TRACT].",
)
@click.option(
    "--internal",
    is_flag=True,
    help="Confidential features as they are, for your own eyes [default folder: out_internal/ beside TRACT].",
)
@QUIET
@VERBOSE
def plan_command(
    tract: Path,
    out: Path | None,
    draws: int | None,
    changes: tuple[str, ...],
    internal: bool,
    quiet: bool,
    verbose: bool,
) -> None:
    """Work out a tract and write its tables, maps, layers and report.

    TRACT is a tract.toml or the folder that holds it.

    \b
    Example:
      invasimap plan my-tract/ --out results/
      invasimap plan my-tract/ --set "access.foot.max_walk=20 min"
    """
    progress = Progress(quiet=quiet, verbose=verbose)
    _plan(tract, out, progress, draws=draws, changes=changes, internal=internal)


@click.command("check")
@TRACT
@click.option("--json", "as_json", is_flag=True, help="Print the same for scripts.")
@QUIET
@VERBOSE
def check_command(tract: Path, as_json: bool, quiet: bool, verbose: bool) -> None:
    """Read everything, print the account of every record and every fault, write nothing.

    \b
    Example:
      invasimap check my-tract/
    """
    from invasimap.core.files import refuse_foreign
    from invasimap.core.toml_file import read_settings
    from invasimap.reading import look_over

    progress = Progress(quiet=quiet or as_json, verbose=verbose)
    settings, faults = read_settings(tract)
    if settings is None:
        raise InputError(faults)
    found = look_over(settings, step=progress)
    faults = [*faults, *found.faults]
    try:
        refuse_foreign(settings.folder / "out", inputs=[settings.file, *found.files])
    except InputError as error:
        faults += error.faults
    if as_json:
        click.echo(json.dumps(_as_data(settings, found, faults), indent=2, default=str))
    else:
        progress.layers(_layer_words(settings, found))
        if found.survey is not None:
            progress.columns(found.survey.columns)
            progress.ledger(found.ledger)
            progress.records(found.survey.repaired, said="how", title="Repaired, and used:")
            progress.records(found.set_aside, said="reason", title="Set aside, and not used:")
        progress.notes([*found.notes, *found.private_notes])
    if faults:
        raise InputError(faults)


def _layer_words(settings: Tract, found: Inputs) -> dict[str, str]:
    """What the land files hold, in words."""
    land, terrain = found.land, found.terrain
    if land is None:
        return {"land": "not read: see the faults"}
    elevation = "not looked at until the faults are mended" if terrain is None else str(settings.land.elevation)
    return {
        "stands": f"{len(land.stands)}, {settings.shown.area_of(land.outline.area):,.1f} {settings.shown.area}",
        "protected features": str(len(land.true_features)),
        "ways": str(len(land.ways)),
        "entries": str(len(land.entries)),
        "elevation": "none: level ground assumed" if terrain is not None and terrain.flat else elevation,
    }


def _as_data(settings: Tract, found: Inputs, faults: list[Fault]) -> dict[str, Any]:
    """What ``check`` says, for scripts."""
    survey = found.survey
    tables = {} if survey is None else {
        "columns": survey.columns.to_dict("records"),
        "ledger": found.ledger.to_dict("records"),
        "set_aside": found.set_aside[["file", "record", "reason"]].to_dict("records"),
        "repaired": survey.repaired.to_dict("records"),
    }  # fmt: skip
    said = [{"where": fault.where, "what": fault.what, "mend": fault.mend} for fault in faults]
    return {
        "layers": _layer_words(settings, found),
        **tables,
        "notes": [*found.notes, *found.private_notes],
        "faults": said,
    }


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("invasimap_demo"))
@QUIET
@VERBOSE
def demo_command(folder: Path, quiet: bool, verbose: bool) -> None:
    """Write the sample tract into FOLDER and plan it.

    \b
    Example:
      invasimap demo try-it/
    """
    target = folder / "tract"
    _lay_out_sample(target)
    _plan(target, folder / "out", Progress(quiet=quiet, verbose=verbose))


def _lay_out_sample(target: Path) -> None:
    """Copy the sample's field files, unless they are there; a tract that somebody changed is not written over."""
    from invasimap.core.errors import Fault, InputError

    source = sample_folder()
    names = [p.relative_to(source) for p in sorted(source.rglob("*")) if _is_field_file(p.relative_to(source))]
    changed = [n for n in names if (target / n).is_file() and (target / n).read_bytes() != (source / n).read_bytes()]
    if changed:
        what = f"holds a {changed[0]} that is not the sample's: it is not written over"
        raise InputError(Fault(where=str(target), what=what, mend="name another folder"))
    try:
        for name in names:
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source / name, target / name)
    except OSError as error:
        raise InputError(Fault(where=str(target), what=f"cannot be written: {error.strerror}")) from error


def _is_field_file(name: Path) -> bool:
    return name.suffix not in ("", ".py", ".pyc", ".png") and name.parts[0] not in (*RESULTS, "__pycache__")


def sample_folder() -> Path:
    """The sample tract, in an installed package or in the project's own tree."""
    package = Path(__file__).parents[1]
    found = [place for place in (package / "sample_geodata", package.parent / "sample_geodata") if place.is_dir()]
    return found[0]


def _plan(
    tract: Path,
    out: Path | None,
    progress: Progress,
    *,
    draws: int | None = None,
    changes: Sequence[str] = (),
    internal: bool = False,
) -> None:
    from invasimap.core.files import refuse_foreign
    from invasimap.core.toml_file import read_tract
    from invasimap.pipeline import plan, result_folder, write_plan
    from invasimap.prescription.plan import STAMP

    settings = read_tract(tract, changes=changes)
    if draws is not None:
        settings = _with_draws(settings, draws)
    refuse_foreign(result_folder(settings, out, internal=internal), inputs=[settings.file])
    made = plan(settings, internal=internal, step=progress)
    folder = write_plan(made, out, step=progress)
    progress.notes(made.notes)
    progress.say(summary(made))
    progress.say(season_summary(made))
    report = folder / f"{made.leads}report.html"
    progress.say(f"Report: {report}" + (f" ({STAMP})" if internal else ""))


def _with_draws(settings: Tract, draws: int) -> Tract:
    from invasimap.core.settings import LEAST_DRAWS

    try:
        return settings.with_draws(draws)
    except ValueError:
        raise click.BadParameter(
            f"{draws}: write 0 for no ranges, or at least {LEAST_DRAWS}.", param_hint="--draws"
        ) from None


def summary(made: Plan) -> str:
    """The answer in one line: infested ground, what of it is treatable in the stands, what became of the records."""
    shown, ground, ledger = made.shown, made.ground, made.ledger
    inside = ground["stand"] != "(outside)"
    open_and_reached = (ground["zone"] == "open") & (ground["access"] != "out_of_reach") & inside
    total: Any = shown.area_of(ground["ground_m2"].sum())
    treatable: Any = shown.area_of(ground.loc[open_and_reached, "ground_m2"].sum())
    used = int((ledger["accepted"] + ledger["repaired"]).sum())
    return (
        f"{total:.1f} {shown.area} of infested ground, {treatable:.1f} {shown.area} treatable; "
        f"{used} of {int(ledger['records'].sum())} records used, {int(ledger['set_aside'].sum())} set aside."
    )


def season_summary(made: Plan) -> str:
    """A season's work in one line: what is planned and how good the choice is, what is left, what is withheld."""
    from invasimap.prescription.costs import whole_days_money

    treatment = made.treatment
    if treatment.answer is None:
        where = "tables/withheld.csv says what to type" if len(treatment.withheld) else "tables/techniques.csv says why"
        return f"No work is planned: {where}."
    work, money = treatment.work, float(treatment.schedule["money"].sum(skipna=False))
    cost = "cost not known" if math.isnan(money) else f"{money:,.0f} {treatment.currency}"
    whole = whole_days_money(work, treatment.rig_days, labour=made.settings.labour)
    paid = "" if math.isnan(whole) else f", {math.ceil(whole):,} where crews are paid and travel by whole days"
    weeks = treatment.schedule["week"].nunique()
    left = f", {len(treatment.unplanned)} left over" if len(treatment.unplanned) else ""
    held = f"; {len(treatment.withheld)} entries in tables/withheld.csv" if len(treatment.withheld) else ""
    works, span = (f"{count} {name}{'s' * (count != 1)}" for count, name in ((len(work), "work"), (weeks, "week")))
    return f"{works} in {span}, {cost} ({treatment.answer.method}){paid}{left}{held}."
