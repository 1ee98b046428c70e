"""The front door: options in, one call, one line out."""

from __future__ import annotations

import sys
import traceback

import click

from invasimap import __version__
from invasimap.cli.calibrate import calibrate_command
from invasimap.cli.commands import check_command, demo_command, plan_command
from invasimap.cli.start import start_command
from invasimap.core.errors import InputError, InvasimapError
from invasimap.core.legible import visible


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="invasimap")
def commands() -> None:
    """Plan invasive plant work in woodland from one folder of field files and one tract.toml.

    \b
    Example:
      invasimap demo
      invasimap plan my-tract/

    The product label is the law. Local, state and federal rules and a licensed applicator's
    judgement come before anything computed here.
    """


commands.add_command(calibrate_command)
commands.add_command(check_command)
commands.add_command(demo_command)
commands.add_command(plan_command)
commands.add_command(start_command)


def main() -> None:
    """Run the command line: exit 0 fine, 2 the input is at fault, 1 a fault of ours."""
    try:
        commands.main(standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("Stopped; nothing was written.", err=True)
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except InputError as error:
        count, said = len(error.faults), visible(str(error), lines=True)
        click.echo(f"{count} fault{'s' if count > 1 else ''} in the input; nothing was written.\n{said}", err=True)
        sys.exit(error.exit_code)
    except InvasimapError as error:
        click.echo(f"Fault of the program: {error}", err=True)
        sys.exit(error.exit_code)
    except Exception:  # noqa: BLE001  the last door: say that it is ours, with what is needed to mend it
        click.echo(
            f"Fault of the program; nothing was written. Please report this:\n{traceback.format_exc()}", err=True
        )
        sys.exit(1)
