"""The options that commands share, and how their values are read."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from math import isfinite
from pathlib import Path
from typing import Any

import click
from forelight.sim.units import SECONDS

from .completion import LEVEL, MAPPED, BoardName, RunName

#: The longest run that can be asked for.
LONGEST_S = 1_000_000


class Amount(click.FloatRange):
    """A number above zero, and between the bounds where there are any."""

    def __init__(self, least: float | None = None, most: float | None = None) -> None:
        super().__init__(min=least or 0, min_open=least is None, max=most)

    def convert(self, value: Any, parameter: click.Parameter | None, context: click.Context | None) -> float:
        number = float(super().convert(value, parameter, context))
        if not isfinite(number):
            self.fail(f"{value} is not a finite number.", parameter, context)
        return number


def levels(context: click.Context, option: click.Parameter, values: tuple[str, ...]) -> dict[str, int]:
    """`--set i2=1 --set i3=0` as a mapping."""
    found: dict[str, int] = {}
    for value in values:
        match = re.fullmatch(r"(i[0-7])=([01])", value.strip())
        if not match:
            raise click.BadParameter(f"{value!r} does not fit; write an input line and a level, such as i2=1")
        if found.setdefault(match[1], int(match[2])) != int(match[2]):
            raise click.BadParameter(f"{match[1]} is given both levels; decide for one")
    return found


def delays(context: click.Context, option: click.Parameter, value: str | None) -> tuple[float, float] | None:
    """`--gate-delay 0.1ns..2ns` as least and greatest seconds."""
    if value is None:
        return None
    form = re.fullmatch(r"([\d.]+)\s*([pnum]?s)\s*\.\.\s*([\d.]+)\s*([pnum]?s)", value.strip())
    try:
        least, greatest = (
            (float(form[n]) * float(SECONDS[form[n + 1]]) for n in (1, 3)) if form else (0.0, 0.0)
        )
    except ValueError:
        least = greatest = 0.0
    if not 0 < least <= greatest:
        raise click.BadParameter(
            f"{value!r} does not fit; write the least and the greatest, such as 0.1ns..2ns"
        )
    return least, greatest


def columns(context: click.Context, option: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    """`--map o0=CH3 --map step=D7` as a mapping."""
    found: dict[str, str] = {}
    for value in values:
        line, equals, column = value.partition("=")
        if not equals or not column or not line:
            raise click.BadParameter(
                f"{value!r} does not fit; write a line and a column of the recording, such as o0=CH3"
            )
        if line in found:
            raise click.BadParameter(f"{line} is mapped twice")
        found[line] = column
    return found


def agreed(context: click.Context, option: click.Parameter, value: bool) -> None:
    """`--trust`, given or not."""
    from forelight.designs.sources.trust import APART, REFUSED, TRUST, trust

    TRUST.set(replace(trust(), python=APART if value else REFUSED))


def sandboxed(context: click.Context, option: click.Parameter, value: bool) -> None:
    """`--sandbox`, given or not."""
    from forelight.designs.sources.trust import TRUST, trust

    TRUST.set(replace(trust(), sandbox=value))


def trust_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Whether a contribution may be read that is a program, and where Verilog is read."""
    command = click.option(
        "--sandbox",
        is_flag=True,
        expose_value=False,
        callback=sandboxed,
        help="Read Verilog in WebAssembly, which sees the folder of the sources and nothing else. Its first use on a "
        "machine takes a minute.",
    )(command)
    return click.option(
        "--trust",
        is_flag=True,
        expose_value=False,
        callback=agreed,
        help="Run a contribution in Python from outside the catalogue: it is a program.",
    )(command)


def board_option(command: Callable[..., Any]) -> Callable[..., Any]:
    return click.option(
        "--board",
        type=BoardName(),
        default="quay",
        show_default=True,
        metavar="NAME|FILE",
        help="The board: one that comes with Forelight, or a profile of your own.",
    )(command)


def json_option(command: Callable[..., Any]) -> Callable[..., Any]:
    return click.option("--json", "as_json", is_flag=True, help="Answer in JSON, for scripts.")(command)


#: What a command that answers about a slot writes into a survey's notebook.
SURVEY_OPTIONS = (
    click.option(
        "--survey",
        "notebook",
        type=click.Path(path_type=Path, dir_okay=False),
        metavar="FILE",
        help="Write it down in this notebook of the chip, which is begun if there is none.",
    ),
    click.option(
        "--who", default="", envvar="FORELIGHT_WHO", metavar="NAME", help="With --survey: whose try it is."
    ),
    click.option("--note", default="", metavar="TEXT", help="With --survey: what else there is to say."),
)
KEEP = click.option(
    "--keep", is_flag=True, help="With --survey: put the recording itself into the notebook too."
)


def survey_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Where a command writes down what it answered."""
    for option in reversed(SURVEY_OPTIONS):
        command = option(command)
    return command


WATCH = click.option(
    "--watch",
    multiple=True,
    metavar="NAME",
    help="A signal of the source to look at too; may be repeated.",
)
SEED = click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    metavar="N",
    help="For the sampled power-ups.",
)
#: More say little: the bound on what they leave out is 3 over their number.
MOST_POWER_UPS = 2**20
POWER_UPS = click.option(
    "--power-ups",
    type=click.IntRange(min=1, max=MOST_POWER_UPS),
    default=256,
    show_default=True,
    metavar="N",
    help="From how many states of the flip-flops to run it.",
)
LENGTH = click.option(
    "--seconds",
    type=Amount(most=LONGEST_S),
    metavar="S",
    help="How long to run, in seconds; 10 if not said.",
)
RUN_OPTIONS = (
    click.option("--strap", type=click.IntRange(min=0), metavar="N", help="Strap code of the step clock."),
    click.option(
        "--hz",
        type=Amount(),
        metavar="F",
        help="Step rate; the nearest is taken.",
    ),
    click.option(
        "--set",
        "levels",
        multiple=True,
        type=LEVEL,
        callback=levels,
        metavar="i2=1",
        help="Level of an input; may be repeated.",
    ),
    click.option("--run", "run_name", type=RunName(), metavar="NAME", help="A procedure of the datasheet."),
    click.option(
        "--procedure",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help='A TOML file of your own: do = ["restart", "steps 40"], and if you like name and expect, as in a '
        "datasheet's [[run]].",
    ),
    click.option(
        "--play",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="Move the inputs as in this recording, after a restart.",
    ),
    click.option(
        "--map",
        "mapping",
        type=MAPPED,
        multiple=True,
        callback=columns,
        metavar="o0=CH3",
        help="Which column or wire of a recording holds a line, or o=CH for a numbered series; may be repeated.",
    ),
    LENGTH,
    POWER_UPS,
    SEED,
)


def run_options(command: Callable[..., Any], without: Any = None) -> Callable[..., Any]:
    """The options of every command that runs a design; `without` is one that a command has its own meaning for."""
    command = trust_options(command)
    for option in reversed(RUN_OPTIONS):
        if option is not without:
            command = option(command)
    return board_option(command)
