"""The command line: argument parsing, exit codes, and what a person sees when something goes wrong."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Callable
from math import isfinite
from pathlib import Path
from typing import Any

import click

# Only click is imported here: everything else waits for its command, so that `forelight --help` is quick.

#: Exit codes beside those that `check` gives.
DONE, WRONG_USE, FAULT, INTERRUPTED = 0, 2, 4, 130
#: Click lays help out for this many columns at least, unless it is told otherwise.
NARROW = 52
#: The longest run that can be asked for.
LONGEST_S = 1_000_000
#: Names the file for the traceback of a fault of Forelight itself.
TRACEBACK_VARIABLE = "FORELIGHT_TRACEBACK"
FAULT_TEXT = (
    "Forelight has failed: this is a fault of the program, not of what you asked. Please report it to those who "
    "keep your copy of Forelight, with the command as you typed it and the files that it reads. {where} "
    "({kind}: {said})"
)


class Commands(click.Group):
    """A group whose commands return their exit code, and which shows each error as one message."""

    def main(self, *args: Any, **options: Any) -> Any:
        from .commands.output import drop_output, lenient_streams

        lenient_streams()
        options["standalone_mode"] = False
        columns = shutil.get_terminal_size().columns
        if columns < NARROW:
            options.setdefault("terminal_width", columns - 1)
        try:
            code = super().main(*args, **options) or DONE
        except click.ClickException as error:
            error.show()
            code = WRONG_USE
        except (click.Abort, KeyboardInterrupt):
            code = INTERRUPTED
        except SystemExit:  # click's answer to a reader who has closed the pipe: no fault, and not "differs"
            drop_output()
            code = DONE
        except Exception as error:  # whatever is left is our own fault, unless it is an error with a remedy
            code = explain(error)
        sys.exit(code)


def explain(error: Exception) -> int:
    """Say what went wrong on standard error; returns the exit code."""
    from forelight.sim.errors import ForelightError

    if isinstance(error, ForelightError):
        click.echo(f"forelight: {error}", err=True)
        return error.exit_code
    kept = os.environ.get(TRACEBACK_VARIABLE)
    where = f"To have the details written to a file, set {TRACEBACK_VARIABLE}=FILE and run it again."
    if kept:
        import traceback

        try:
            Path(kept).write_text("".join(traceback.format_exception(error)), encoding="utf-8")
            where = f"The details are in {kept}: send them too."
        except OSError as problem:
            where = f"The details could not be written to {kept}: {problem.strerror}."
    said = str(error).partition("\n")[0][:200]
    click.echo(FAULT_TEXT.format(where=where, kind=type(error).__name__, said=said), err=True)
    return FAULT


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
            raise click.BadParameter(f"found {value!r}; write an input line and a level, such as i2=1")
        if found.setdefault(match[1], int(match[2])) != int(match[2]):
            raise click.BadParameter(f"{match[1]} is given both levels; decide for one")
    return found


def columns(context: click.Context, option: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    """`--map o0=CH3 --map step=D7` as a mapping."""
    found: dict[str, str] = {}
    for value in values:
        line, equals, column = value.partition("=")
        if not equals or not column or not line:
            raise click.BadParameter(
                f"found {value!r}; write a line and a column of the capture, such as o0=CH3"
            )
        if line in found:
            raise click.BadParameter(f"{line} is mapped twice")
        found[line] = column
    return found


def board_option(command: Callable[..., Any]) -> Callable[..., Any]:
    return click.option(
        "--board",
        default="quay",
        show_default=True,
        metavar="NAME|FILE",
        help="The board: one that comes with Forelight, or a profile of your own.",
    )(command)


def json_option(command: Callable[..., Any]) -> Callable[..., Any]:
    return click.option("--json", "as_json", is_flag=True, help="Answer in JSON, for scripts.")(command)


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
        callback=levels,
        metavar="i2=1",
        help="Level of an input; may be repeated.",
    ),
    click.option("--run", "run_name", metavar="NAME", help="A procedure of the datasheet."),
    click.option(
        "--procedure", type=click.Path(path_type=Path), metavar="FILE", help="A procedure of your own."
    ),
    click.option(
        "--seconds",
        type=Amount(most=LONGEST_S),
        metavar="S",
        help="How long to run, in seconds; 10 if not said.",
    ),
    click.option(
        "--seed",
        type=click.IntRange(min=0),
        default=0,
        show_default=True,
        metavar="N",
        help="For the sampled power-ups.",
    ),
)


def run_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options of every command that runs a design."""
    for option in reversed(RUN_OPTIONS):
        command = option(command)
    return board_option(command)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="forelight", message="forelight %(version)s")
def cli() -> None:
    """Foretell what a design on a shared chip should show, and check the bench against it.

    SLOT is a slot number, the name of a design that comes with Forelight, or the path of a contribution's
    folder or of a .v, .il or .py file (FILE:TOP names the top module or class).

    Exit codes: 0 agrees or done, 1 differs, 2 wrong use or unreadable input, 3 inconclusive, 4 a fault of
    Forelight, 130 interrupted.
    """


@cli.command()
@board_option
@json_option
def slots(board: str, as_json: bool) -> int:
    """List what is on this chip."""
    from .commands.slots import run

    return run(board, as_json)


@cli.command()
@click.argument("slot")
@run_options
@click.option(
    "--speed",
    type=Amount(0.001, 1000),
    default=1.0,
    metavar="X",
    help="Play X times as fast as the board.",
)
@click.option("--motion/--still", default=None, help="Insist on moving pictures, or on pictures in a row.")
@click.option(
    "--pictures",
    type=click.IntRange(min=1),
    default=24,
    show_default=True,
    metavar="N",
    help="Most pictures in a row.",
)
@json_option
def show(speed: float, motion: bool | None, pictures: int, as_json: bool, **asked: Any) -> int:
    """Show what the display should do, as the eye sees it."""
    from .commands.question import Asked
    from .commands.show import run

    return run(Asked(**asked), as_json, speed=speed, motion=motion, most=pictures)


@cli.command()
@click.argument("slot")
@run_options
@click.option(
    "-o",
    "--output",
    default="-",
    show_default=True,
    metavar="FILE",
    help="A .csv (with a .toml beside it) or .vcd file; - is CSV on standard output.",
)
@json_option
def golden(output: str, as_json: bool, **asked: Any) -> int:
    """Write the predicted outputs, as CSV or VCD."""
    from .commands.golden import run
    from .commands.question import Asked

    return run(Asked(**asked), output, as_json)


@cli.command()
@click.argument("slot")
@click.argument("capture", type=click.Path(path_type=Path))
@run_options
@click.option(
    "--map",
    "mapping",
    multiple=True,
    callback=columns,
    metavar="o0=CH3",
    help="Which column or wire of the capture holds a line; may be repeated.",
)
@json_option
def check(capture: Path, mapping: dict[str, str], as_json: bool, **asked: Any) -> int:
    """Does a capture from the bench agree, and if not, where does it differ?

    CAPTURE is a CSV or VCD file: times and changes, samples at a fixed rate, or what an eye wrote down as step,outputs.
    """
    from .commands.check import run
    from .commands.question import Asked

    return run(Asked(**asked), capture, mapping, as_json)


@cli.command()
@click.option(
    "--hz",
    type=Amount(),
    metavar="F",
    help="Which switches give this step rate?",
)
@click.option(
    "--code", type=click.IntRange(min=0), metavar="N", help="Which step rate do these switches give?"
)
@board_option
@json_option
def strap(hz: float | None, code: int | None, board: str, as_json: bool) -> int:
    """Which switches give a rate, and which rate switches give."""
    if (hz is None) == (code is None):
        raise click.UsageError("give either --hz or --code")
    from .commands.strap import run

    return run(board, hz, code, as_json)


def main() -> None:
    """The entry point."""
    cli(prog_name="forelight")
