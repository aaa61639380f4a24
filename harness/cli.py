"""The command line: each command with its options."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import click

# Only click is imported here: everything else waits for its command, so that `forelight --help` is quick.
from .completion import OUTPUT, BoardName, Slot
from .ending import Commands
from .groups import Notebooks
from .options import (
    KEEP,
    LENGTH,
    LONGEST_S,
    POWER_UPS,
    SEED,
    WATCH,
    Amount,
    board_option,
    delays,
    json_option,
    run_options,
    survey_options,
    trust_options,
)
from .terminal.answered import answered

#: Those whose answers in JSON can be asked for by name.
COMMANDS = (
    *(
        "slots",
        "show",
        "wall",
        "golden",
        "check",
        "count",
        "strap",
        "card",
        "listen",
        "lesson",
        "vet",
        "draft",
    ),
    "survey",
)


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
@click.argument("words", nargs=-1, metavar="[WORD]...")
@board_option
@json_option
def slots(words: tuple[str, ...], board: str, as_json: bool) -> int:
    """List what is on this chip, or what of it has to do with WORD: in title, kind, lines or description."""
    from .commands.slots import run

    return run(board, as_json, words)


@cli.command()
@click.argument("slot", type=Slot())
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
@click.option(
    "--gate-delay",
    callback=delays,
    metavar="0.1ns..2ns",
    help="Least and greatest delay of a gate: how fast does a free-running loop run?",
)
@WATCH
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a .svg picture or a .html page, in which it moves.",
)
@click.option(
    "--why", type=OUTPUT, metavar="o3", help="Why is this output, or this signal of the source, as it is?"
)
@click.option(
    "--step",
    type=click.IntRange(min=0),
    metavar="N",
    help="With --why: at the end of step N; else of the run.",
)
@json_option
@answered
def show(
    speed: float,
    motion: bool | None,
    pictures: int,
    gate_delay: tuple[float, float] | None,
    watch: tuple[str, ...],
    output: Path | None,
    why: str | None,
    step: int | None,
    as_json: bool,
    **asked: Any,
) -> int:
    """Show what the display should do, as the eye sees it.

    In a terminal it moves: space stops it, the arrows go a step on and back, q leaves it.
    """
    if step is not None and why is None:
        raise click.UsageError("--step says at which step --why is asked: give both")
    if output is not None and why is not None:
        raise click.UsageError("--output writes a picture, and --why is answered in words: give one of them")
    from .asking.question import Asked
    from .commands.show import run

    return run(
        Asked(**asked),
        as_json,
        speed=speed,
        motion=motion,
        most=pictures,
        gate_delay=gate_delay,
        watch=watch,
        why=why,
        step=step,
        output=output,
    )


@cli.command()
@click.option(
    "--runs", is_flag=True, help="Play the first run of each datasheet, not a while after the restart."
)
@click.option("--still", is_flag=True, help="Print the last moment alone.")
@LENGTH
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A .svg picture or a .html page, in which they move.",
)
@board_option
@trust_options
@POWER_UPS
@SEED
@json_option
@answered
def wall(
    runs: bool,
    still: bool,
    seconds: float | None,
    output: Path | None,
    board: str,
    power_ups: int,
    seed: int,
    as_json: bool,
) -> int:
    """Play the displays of all slots at once, at true speed; what flashes too much is held still.

    In a terminal the space bar stops them, the arrows turn to other slots, q leaves it. In a pipe the last moment is
    printed.
    """
    if runs and seconds is not None:
        raise click.UsageError("--runs and --seconds contradict each other: give one of them")
    from .asking.question import Asked
    from .commands.wall import run

    asked = Asked("", board, None, None, {}, None, None, seconds, seed, power_ups)
    return run(asked, runs=runs, still=still, output=output, as_json=as_json)


@cli.command()
@click.argument("slot", type=Slot(), required=False)
@run_options
@click.option(
    "-o",
    "--output",
    default="-",
    show_default=True,
    metavar="FILE",
    help="A .csv (with a .toml beside it) or .vcd file; - is CSV on standard output.",
)
@click.option("--all", "everything", is_flag=True, help="Compare those that are kept beside all designs.")
@click.option("--update", is_flag=True, help="With --all: keep what is foretold now.")
@click.option("--coverage", is_flag=True, help="How many faults of the design would this run reveal?")
@click.option(
    "--improve",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Search for a run that reveals more, and write it as a procedure.",
)
@WATCH
@json_option
@answered
def golden(
    output: str,
    everything: bool,
    update: bool,
    coverage: bool,
    improve: Path | None,
    watch: tuple[str, ...],
    as_json: bool,
    **asked: Any,
) -> int:
    """Write the predicted outputs, as CSV or VCD.

    With --all, of every design that comes with Forelight: are they as they were kept? Exit code 1 where one is not.

    With --coverage, how much the run proves of a chip that agrees: a fault is one line of the design that is always 0
    or always 1, and is revealed if a settled output is another than foretold. --json then has "coverage": how many
    faults the design has ("fault_count"), "tried" (fewer where there are many), "possible" (those that some run may
    reveal), "revealed", "share" of the possible, its "margin" where not all were tried, "missed" and "hopeless" (lists
    of "line", "stuck", "places" in the source), and "growth" (a list of "step", "seconds", "revealed").
    --improve adds "improved": "file" (null where nothing reveals more), "do", "gained", and the "coverage" of that run.
    """
    if everything == (asked["slot"] is not None) or update > everything:
        raise click.UsageError("give a SLOT, or --all (and then --update if you like)")
    if everything and (coverage or improve):
        raise click.UsageError("--coverage and --improve are about one SLOT")
    if everything:
        from .commands.catalogue_goldens import run as run_all

        return run_all(update, as_json)
    from .asking.question import Asked
    from .commands.golden import run

    return run(Asked(**asked), output, as_json, watch, coverage=coverage, improve=improve)


def _kinds(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Kinds of causes, for a shell to complete."""
    from .verdict.causes.mishap import SHARES

    return [kind for kind in SHARES if kind.startswith(incomplete)]


@cli.command()
@click.argument("slot", type=Slot(), metavar="[SLOT]")
@click.argument("capture", type=click.Path(path_type=Path), required=False, metavar="CAPTURE")
@click.option(
    "--any", "anywhere", is_flag=True, help="Which slots of the chip does CAPTURE fit? Leave SLOT out."
)
@click.option(
    "--experiment",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a procedure that tells the two likeliest causes apart.",
)
@click.option(
    "--exercise",
    type=click.IntRange(min=0),
    metavar="N",
    help="Hide something that went wrong, drawn by N, in a recording, for --output.",
)
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Write the exercise, as CSV."
)
@click.option(
    "--answer",
    shell_complete=_kinds,
    metavar="CAUSE",
    help="What went wrong in exercise N? As `check` names it.",
)
@run_options
@survey_options
@KEEP
@json_option
def check(
    slot: str,
    capture: Path | None,
    anywhere: bool,
    experiment: Path | None,
    exercise: int | None,
    output: Path | None,
    answer: str | None,
    as_json: bool,
    **asked: Any,
) -> int:
    """Does a capture from the bench agree, and if not, where does it differ, and what would explain it?

    CAPTURE is a CSV or VCD file: times and changes, samples at a fixed rate, or what an eye wrote down as step,outputs.

    One that agrees says how many faults of the chip it would have shown, on its lines and in its steps: "proves" in
    --json, with the keys of "coverage" in `golden --help`, or null.

    With --exercise there is no CAPTURE: give -o FILE for a recording in which something went wrong, then --answer.
    Exit code 1 where the answer is wrong. --json has "exercise": "seed" and "file", or "answered", its "worth" (right,
    nearly: the kind alone; wrong), and the cause with "kind", "name", "said" and "remedy".
    """
    from .asking.question import Asked
    from .commands import check, which
    from .commands.entry import entry_of

    if exercise is not None:
        from .commands.exercise import run as run_exercise

        if capture is not None or anywhere or (output is None) == (answer is None):
            raise click.UsageError("--exercise N wants a SLOT and no CAPTURE, and -o FILE or --answer CAUSE")
        if experiment or entry_of(asked):
            raise click.UsageError("an exercise is no try at the bench: leave --survey and --experiment out")
        return run_exercise(Asked(slot, **asked), exercise, output, answer, as_json)
    if output is not None or answer is not None:
        raise click.UsageError("--output and --answer belong to --exercise N")
    if anywhere and capture is not None:
        raise click.UsageError("--any asks which slot it is: give the capture alone")
    if not anywhere and capture is None:
        raise click.UsageError(
            "Missing argument 'CAPTURE' (or --any, if it is not known which slot was recorded)"
        )
    entry = entry_of(asked)
    if capture is None:
        if entry:
            raise click.UsageError("--any asks which slot it is, and a try is of one: leave --survey out")
        return which.run(Asked("", **asked), Path(slot), asked["mapping"], as_json)
    return check.run(Asked(slot, **asked), capture, as_json, entry, experiment)


@cli.command()
@click.argument("slot", type=Slot())
@click.option(
    "--loops", type=click.IntRange(min=1), required=True, metavar="N", help="Loops that you counted."
)
@click.option(
    "--seconds",
    "counted_s",
    type=Amount(most=LONGEST_S),
    required=True,
    metavar="S",
    help="In how many seconds.",
)
@click.option(
    "--steps-per-loop",
    type=click.IntRange(min=1),
    metavar="P",
    help="Steps of a loop; as foretold if not said.",
)
@partial(run_options, without=LENGTH)
@survey_options
@json_option
def count(loops: int, counted_s: float, steps_per_loop: int | None, as_json: bool, **asked: Any) -> int:
    """Does a count taken by eye agree with the step rate?

    Count how often the display comes round, with a stopwatch. A loop more or less and your reaction time are allowed
    for. Exit codes as for `check`.
    """
    from .asking.question import Asked
    from .commands.count import run
    from .commands.entry import entry_of

    entry = entry_of(asked)
    return run(Asked(**asked, seconds=None), loops, counted_s, steps_per_loop, as_json, entry)


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


@cli.command()
@click.argument("slot", type=Slot(), required=False)
@run_options
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A .html file, which prints on paper of size A5, or a .md file; printed here if not said.",
)
@click.option("--all", "everything", is_flag=True, help="The booklet of the chip: a card for each design.")
@survey_options
@json_option
@answered
def card(output: Path | None, everything: bool, as_json: bool, **asked: Any) -> int:
    """How to bring a slot up, switch by switch, and what to look for: a card to take to the bench.

    The card is that of the first run of the datasheet, unless another run or procedure is named.
    """
    if everything == (asked["slot"] is not None):
        raise click.UsageError("give a SLOT, or --all")
    from .asking.question import Asked
    from .commands.card import run, run_all
    from .commands.entry import entry_of

    entry = entry_of(asked)
    if everything:
        if entry:
            raise click.UsageError(
                "--survey writes down the card of one slot: name it, or leave --survey out"
            )
        return run_all(Asked(**asked), output, as_json)
    return run(Asked(**asked), output, as_json, entry)


@cli.command()
@click.argument("slot", type=Slot())
@run_options
@click.option(
    "--line",
    type=click.Choice([f"o{bit}" for bit in range(8)]),
    metavar="o4",
    help="Which output; that of the datasheet's speaker if not said.",
)
@click.option("--volume", type=Amount(most=0.5), metavar="V", help="Share of full scale, at most 0.5.")
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="FILE.wav")
@json_option
@answered
def listen(line: str | None, volume: float | None, output: Path, as_json: bool, **asked: Any) -> int:
    """Write how an output should sound, as a WAV file. Start it at low volume."""
    from .asking.question import Asked
    from .commands.listen import run

    return run(Asked(**asked), line, volume, output, as_json)


@cli.group(cls=Notebooks, subcommand_metavar="[COMMAND] FILE ...")
def survey() -> None:
    """A whole chip in a few evenings: what was tried, what it showed, what to try next.

    FILE is a notebook, into which check, count and card write with --survey FILE: what was asked, the recording's hash
    (and with --keep the recording), the verdict and why, a --note, --who and when. A FILE alone shows the chip at a
    glance, and with a SLOT after it all tries of that slot.
    """


NOTEBOOK = click.argument("notebook", type=click.Path(path_type=Path), metavar="FILE")
BOARD_OF = click.option(
    "--board", type=BoardName(), metavar="NAME|FILE", help="The board; that of the notebook if not said."
)


@survey.command()
@NOTEBOOK
@click.argument("slot", type=Slot(), required=False)
@click.option("--board", metavar="NAME", help="Only this board of the notebook.")
@json_option
def glance(notebook: Path, slot: str | None, board: str | None, as_json: bool) -> int:
    """The chip at a glance: untried, agrees, differs, inconclusive, cannot be told and why."""
    from .commands.survey.glance import run

    return run(notebook, slot, board, as_json)


@survey.command("next")
@NOTEBOOK
@click.option(
    "--tries",
    type=click.IntRange(min=1),
    default=10,
    show_default=True,
    metavar="N",
    help="How many at most.",
)
@click.option(
    "--experiments",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    metavar="FOLDER",
    help="Write the experiments that part two causes there, as procedures.",
)
@BOARD_OF
@json_option
def next_tries(notebook: Path, tries: int, experiments: Path | None, board: str | None, as_json: bool) -> int:
    """What to try next, so that few switches move and much is learned."""
    from .commands.survey.next import run

    return run(notebook, board, tries, experiments, as_json)


@survey.command()
@NOTEBOOK
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A .md, .html (with pictures), .csv or .json file; Markdown is printed here if not said.",
)
@click.option("--names", is_flag=True, help="Say who tried it and when, too.")
@click.option("--board", metavar="NAME", help="Which board of the notebook.")
@json_option
def report(notebook: Path, output: Path | None, names: bool, board: str | None, as_json: bool) -> int:
    """What works, what does not, and why."""
    from .commands.survey.report import run

    return run(notebook, output, board, names, as_json)


@survey.command()
@NOTEBOOK
@click.argument("others", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="OTHER...")
@json_option
def merge(notebook: Path, others: tuple[Path, ...], as_json: bool) -> int:
    """Put what OTHER notebooks hold into FILE, and say where people contradict each other.

    Joining twice adds nothing. Exit code 1 where they contradict each other.
    """
    from .commands.survey.merge import run

    return run(notebook, others, as_json)


@survey.command()
@NOTEBOOK
@click.option("--write", is_flag=True, help="Put the verdicts that moved into the notebook.")
@BOARD_OF
@trust_options
@json_option
def again(notebook: Path, write: bool, board: str | None, as_json: bool) -> int:
    """Judge all kept recordings anew, after a design or Forelight changed. Exit code 1 where a verdict moved."""
    from .commands.survey.again import run

    return run(notebook, board, write, as_json)


@survey.command()
@NOTEBOOK
@click.argument("slot", type=Slot())
@click.option(
    "--id", "wanted", metavar="ID", help="Which entry, by the beginning of its id; the last if not said."
)
@click.option(
    "--who", default="", envvar="FORELIGHT_WHO", metavar="NAME", help="Whose: the last try of this person."
)
@click.option("--note", default="", metavar="TEXT", help="Why.")
@json_option
def withdraw(notebook: Path, slot: str, wanted: str | None, who: str, note: str, as_json: bool) -> int:
    """Let a try not count, by an entry of its own: nothing is lost, and a withdrawal can be withdrawn too."""
    from .commands.survey.withdraw import run
    from .survey.keeping import Entry

    return run(Entry(notebook, who, note), slot, wanted, as_json)


@cli.command()
@click.argument("slot", type=Slot(), required=False)
@click.option("--plain", is_flag=True, help="A dialogue of lines, for screen readers and pipes.")
@click.option(
    "--procedure",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help='Begin with what this TOML file does: do = ["restart", "steps 40"], as in a datasheet\'s [[run]].',
)
@trust_options
@board_option
def panel(slot: str | None, plain: bool, procedure: Path | None, board: str) -> int:
    """The bench on the screen: try a design by hand.

    What you do is a list of actions, which you can take back, save, and open again with --procedure in any command.
    """
    from .commands.panel import run

    return run(slot, board, procedure, plain=plain)


@cli.command()
@click.argument("number", type=click.IntRange(min=1), required=False, metavar="[N]")
@click.option("--plain", is_flag=True, help="A dialogue of lines, for screen readers and pipes.")
@click.option("--progress", is_flag=True, help="How far are you?")
@click.option("--print", "on_paper", is_flag=True, help="A handout for a class without screens.")
@click.option("--answers", is_flag=True, help="With --print: the shortest way through, for the teacher.")
@json_option
def lesson(
    number: int | None, plain: bool, progress: bool, on_paper: bool, answers: bool, as_json: bool
) -> int:
    """The input conventions, learned by doing: fifteen lessons of some five minutes.

    N is the number of a lesson; without it comes the first that you have not done.
    """
    from .commands.lesson import print_handout, run, tell_progress

    if progress:
        return tell_progress(as_json)
    if on_paper:
        return print_handout(number, with_answers=answers)
    return run(number, plain=plain)


@cli.command()
@click.argument("folder", required=False)
@click.option("--all", "everything", is_flag=True, help="Vet every design that comes with Forelight.")
@board_option
@trust_options
@POWER_UPS
@SEED
@json_option
def vet(folder: str | None, everything: bool, board: str, power_ups: int, seed: int, as_json: bool) -> int:
    """Is this contribution ready, and what is missing?

    FOLDER holds its datasheet.toml and its source. Exit codes: 0 accepted, 1 something must be put right.

    For one FOLDER --json has "coverage": how many faults of the design its "runs" would reveal, one by one, and all
    "together", each with the keys of "coverage" in `golden --help`; "why_not" says why that is not told.
    """
    from .commands.vet import run

    return run(folder, everything, board, power_ups, seed, as_json)


@cli.command()
@click.argument("name", required=False)
@click.option("--keys", is_flag=True, help="Print every key of datasheets and boards instead.")
@click.option("--language", type=click.Choice(("amaranth", "verilog")), default="amaranth", show_default=True)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    default=Path(),
    metavar="FOLDER",
    help="Where to make the new folder; here if not said.",
)
@json_option
def draft(name: str | None, keys: bool, language: str, output: Path, as_json: bool) -> int:
    """Start a contribution: a folder NAME with a datasheet and a source that runs."""
    if keys:
        from .commands import reference

        return reference.run(as_json)
    if name is None:
        raise click.UsageError("Give the folder that is to be made a name, or ask for --keys.")
    from .commands.vet import start

    return start(name, language, output, as_json)


@cli.command()
@click.argument("command", type=click.Choice(COMMANDS), required=False, metavar="[COMMAND]")
@json_option
def answers(command: str | None, as_json: bool) -> int:
    """What the keys mean of answers with --json, which are the same in all commands.

    With --json the JSON Schema (draft 2020-12) of what COMMAND answers, or of any answer. Errors are answers too.
    """
    from .commands import reference

    return reference.answers(command, as_json)


#: Worked examples at the end of a command's help; what one writes a later one may read.
EXAMPLES = {
    "slots": ("forelight slots", "forelight slots --board mole --json"),
    "show": ("forelight show tide_gauge --seconds 5", 'forelight show 101 --run "one tide" -o tide.svg'),
    "golden": (
        "forelight golden tide_gauge -o tide.csv --coverage",
        "forelight golden dice --seconds 2 -o dice.vcd --improve more.toml",
    ),
    "card": ("forelight card tide_gauge", "forelight card 101 -o tide.html"),
    "check": (
        "forelight check tide_gauge tide.csv",
        "forelight check 101 tide.csv --json",
        "forelight check tide_gauge --exercise 7 -o what.csv",
        'forelight check tide_gauge --exercise 7 --answer "restart held"',
    ),
    "survey": (
        "forelight check tide_gauge tide.csv --survey quay.survey --who Ann --keep",
        "forelight survey quay.survey",
    ),
    "survey next": (
        "forelight survey next quay.survey",
        "forelight survey next quay.survey --tries 3 --json",
    ),
    "survey report": (
        "forelight survey report quay.survey",
        "forelight survey report quay.survey -o quay.html",
    ),
    "survey merge": (
        "forelight card 42 --survey friend.survey",
        "forelight survey merge quay.survey friend.survey",
    ),
    "survey withdraw": (
        "forelight check tide_gauge tide.csv --survey quay.survey",
        "forelight survey withdraw quay.survey tide_gauge --note 'it was the other board'",
    ),
    "survey again": ("forelight survey again quay.survey", "forelight survey again quay.survey --json"),
    "count": (
        "forelight count tide_gauge --loops 6 --seconds 53",
        "forelight count 101 --loops 10 --seconds 88",
    ),
    "strap": ("forelight strap --hz 50", "forelight strap --code 182"),
    "wall": ("forelight wall --still", "forelight wall --board mole --runs -o mole.svg"),
    "listen": (
        "forelight listen ferry_whistle --seconds 3 -o whistle.wav",
        "forelight listen fog_bell --seconds 5 --volume 0.1 -o bell.wav",
    ),
    "panel": ("forelight panel tide_gauge", "forelight panel 101 --board quay --plain"),
    "lesson": ("forelight lesson --progress", "forelight lesson 3 --print --answers"),
    "answers": ("forelight answers", "forelight answers show --json"),
    "survey glance": ("forelight survey quay.survey", "forelight survey quay.survey tide_gauge --json"),
    "vet": ("forelight vet tide_gauge", "forelight vet tide_gauge --board mole --json"),
    "draft": ("forelight draft tide_bell", "forelight draft night_light --language verilog"),
}
for _name, _examples in EXAMPLES.items():
    _command: click.Command = cli
    for _word in _name.split():
        assert isinstance(_command, click.Group)
        _command = _command.commands[_word]
    _command.epilog = "\b\nExamples:\n" + "\n".join(f"  {example}" for example in _examples)


def main() -> None:
    """The entry point."""
    cli(prog_name="forelight", watched=True)
