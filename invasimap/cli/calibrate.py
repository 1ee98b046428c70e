"""``invasimap calibrate``: from what was caught and timed to a rate, and to the line for tract.toml."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from invasimap.core.units import Rate
    from invasimap.prescription.calibration import Calibration

SPRAYED = ("foliar_spot", "foliar_broadcast", "cut_then_foliar", "cut_stump", "basal_bark")


class Quantity(click.ParamType[float]):
    """A quantity above zero with its unit, in the unit stored inside."""

    def __init__(self, dimension: str) -> None:
        self.dimension = dimension
        self.name = dimension

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, or fail with what is wrong."""
        from invasimap.core.units import quantity

        if isinstance(value, float):
            return value
        try:
            found = quantity(value, self.dimension)
        except ValueError as error:
            self.fail(str(error), param, ctx)
        if found <= 0:
            self.fail(f"{value!r} must be above zero", param, ctx)
        return found


class Day(click.ParamType[dt.date]):
    """A date."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.date:
        """Read it, or fail with what is wrong."""
        try:
            return dt.date.fromisoformat(value)
        except ValueError:
            self.fail(f'{value!r} is no date: write year, month and day such as "2026-09-01"', param, ctx)


class LabelRate(click.ParamType["Rate"]):
    """A rate as labels state it."""

    name = "rate"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Rate:
        """Read it, or fail with what is wrong."""
        from invasimap.core.units import Rate, rate

        if isinstance(value, Rate):
            return value
        try:
            return rate(value)
        except ValueError as error:
            self.fail(str(error), param, ctx)


def _for_the_line(command: Callable[..., None]) -> Callable[..., None]:
    """Options that say what the line for the settings shall hold."""
    for option in reversed([
        click.option("--up-to", type=Quantity("length"), help='Tallest plants it was measured on, such as "6 ft".'),
        click.option("--technique", type=click.Choice(SPRAYED), help="What it serves [default: the foliar ones]."),
        click.option("--date", type=Day(), help="Day of measuring [default: today]."),
        click.option("--units", type=click.Choice(["us", "metric"]), default="us", help="Units of the line."),
        click.option("--label-rate", type=LabelRate(), help="From your label: prints what goes into --tank."),
        click.option("--tank", type=Quantity("volume"), help="Tank to be filled, with --label-rate."),
    ]):  # fmt: skip
        command = option(command)
    return command


@click.group("calibrate")
def calibrate_command() -> None:
    """Work out what a sprayer and its crew put on, from what was caught and timed.

    Every change of nozzle, pressure, walker, plants or slope asks for another calibration.

    \b
    Example:
      invasimap calibrate plot --caught "7.5 fl oz"
      invasimap calibrate boom --flow "3.75 gal/min" --speed "5 mph" --width "222 in"
      invasimap calibrate handgun --caught "1 gal" --catch-time "30 s" --plot-time "17 s"
    """


@calibrate_command.command("plot")
@click.option("--caught", type=Quantity("volume"), required=True, help="Caught in the time the plot took.")
@click.option("--plot", type=Quantity("area"), help="The plot [default: 1/128 acre, 340.3125 ft2; 18.45 ft square].")
@_for_the_line
def plot_command(caught: float, plot: float | None, **line: Any) -> None:
    """The 1/128-acre method: spray the plot as in the work, then catch for as long as that took.

    \b
    Example:
      invasimap calibrate plot --caught "7.5 fl oz" --up-to "6 ft"
      invasimap calibrate plot --caught "60 fl oz" --plot "500 ft2"
    """
    from invasimap.prescription.calibration import PLOT_M2, plot_rate

    _print(plot_rate(caught, plot_m2=plot or PLOT_M2), **line)


@calibrate_command.command("boom")
@click.option("--flow", type=Quantity("flow"), help="What each nozzle gives; prints the rate.")
@click.option("--rate", type=Quantity("spread"), help="The rate wanted; prints what each nozzle must give.")
@click.option("--speed", type=Quantity("speed"), required=True, help="Ground speed.")
@click.option("--width", type=Quantity("length"), required=True, help="Spacing of nozzles; boomless: the swath.")
@_for_the_line
def boom_command(flow: float | None, rate: float | None, speed: float, width: float, **line: Any) -> None:
    """A boom or boomless nozzle that moves: rate from flow, or flow from rate.

    \b
    Example:
      invasimap calibrate boom --flow "3.75 gal/min" --speed "5 mph" --width "222 in"
      invasimap calibrate boom --rate "20 gal/acre" --speed "4 mph" --width "20 in"
    """
    from invasimap.core.units import L_PER_GAL
    from invasimap.prescription.calibration import boom_flow_L_per_min, boom_rate

    if (flow is None) is (rate is None):
        raise click.UsageError("Give either --flow or --rate.")
    if rate is not None:
        flow = boom_flow_L_per_min(rate, speed_m_per_s=speed, width_m=width)
        click.echo(f"Each nozzle must give {flow / L_PER_GAL:.4g} gal/min ({flow:.4g} L/min).")
    if flow is not None:
        _print(boom_rate(flow, speed_m_per_s=speed, width_m=width), **line)


@calibrate_command.command("handgun")
@click.option("--caught", type=Quantity("volume"), required=True, help="Caught from the gun.")
@click.option("--catch-time", type=Quantity("duration"), required=True, help="How long it was caught.")
@click.option("--plot-time", "plot_times", type=Quantity("duration"), multiple=True, required=True,
              help="How long spraying the plot took; several are averaged.")  # fmt: skip
@click.option("--plot", type=Quantity("area"), help="The plot [default: 1/128 acre, 340.3125 ft2].")
@_for_the_line
def handgun_command(
    caught: float, catch_time: float, plot_times: tuple[float, ...], plot: float | None, **line: Any
) -> None:
    """A handgun by the clock: its flow, and how long a plot takes.

    \b
    Example:
      invasimap calibrate handgun --caught "1 gal" --catch-time "30 s" --plot-time "16 s" --plot-time "18 s"
    """
    from invasimap.prescription.calibration import PLOT_M2, timed_rate

    found = timed_rate(
        caught / catch_time, plot_min=sum(plot_times) / len(plot_times), plot_m2=plot or PLOT_M2
    )  # fmt: skip
    _print(found, **line)


def _print(
    found: Calibration,
    *,
    up_to: float | None,
    technique: str | None,
    date: dt.date | None,
    units: str,
    label_rate: Rate | None,
    tank: float | None,
) -> None:
    """The rate in both units, what it was worked from, and the line for the settings."""
    from invasimap.core.units import SHOWN
    from invasimap.prescription.calibration import setting_line

    if (label_rate is None) is not (tank is None):
        raise click.UsageError("--label-rate and --tank go together: give both or neither.")
    tanked = [] if label_rate is None or tank is None else _in_tank(found, label_rate, tank)
    click.echo(f"{found.gal_per_acre:.4g} gal/acre ({found.rate_L_per_ha:.4g} L/ha)")
    click.echo(f"Worked from: {found.worked_from}.")
    for note in [*found.notes, *tanked]:
        click.echo(note)
    line = setting_line(
        found.rate_L_per_ha, date=date or dt.date.today(), shown=SHOWN[units], up_to_m=up_to, technique=technique
    )
    click.echo(f"For the [[rig]] block in tract.toml:\n  {line}")


def _in_tank(found: Calibration, label_rate: Rate, tank_L: float) -> list[str]:
    """What a tank takes by the rate typed from the label, rounded down."""
    from invasimap.core.units import L_PER_GAL
    from invasimap.prescription.calibration import down
    from invasimap.prescription.mix import share_of

    (share,) = share_of(label_rate, [found.rate_L_per_ha]).tolist()
    if share > 1:
        raise click.UsageError("--label-rate asks for more product than the mix that is put on.")
    ml = share * tank_L * 1000
    per_gal = down(share * 128)
    return [
        f"At {label_rate.text}, as you typed it from the label: {per_gal} fl oz in each gallon of mix; "
        f"{down(ml / 1000 / L_PER_GAL * 128)} fl oz ({down(ml)} ml) in a tank of {tank_L / L_PER_GAL:.4g} gal "
        f"({tank_L:.4g} L)."
    ]
