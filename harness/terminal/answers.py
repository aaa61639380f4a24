"""The keys of every answer in JSON: one table, with what each means, and the schema that follows from it.

A key means the same in all commands, and holds one kind of value; where there may be nothing to hold, null.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

#: Rises when a key goes, or comes to mean something else; a new key is no new version.
VERSION = 3
#: JSON types by the letters that stand for them below; `m` is an object whose keys are names, such as those of lines,
#: and `a` stands for anything. Behind a colon stands what is in a list or under such names: `l:s` is a list of texts.
_TYPES = {
    "s": "string",
    "n": "number",
    "b": "boolean",
    "l": "array",
    "o": "object",
    "m": "object",
    "-": "null",
    "a": "anything",
}
#: Key -> the type that it has, with `-` where it may be null, and what it means.
KEYS: Mapping[str, tuple[str, str]] = {
    "schema": ("n", "version of these keys; in a list, of each of its objects"),
    # What was asked
    "board": ("s", "name of the board profile"),
    "slot": ("n-", "number of the slot; null for a design that lies in none"),
    "name": ("s", "name of the design"),
    "title": ("s", "title of the design, or of a lesson"),
    "creator": ("s", "who made it, as the datasheet says"),
    "description": ("s", "what it does, as the datasheet says"),
    "license": ("s", "its licence, as the datasheet says"),
    "format": ("s", "what its source is in: amaranth, verilog or netlist"),
    "wanted_hz": ("n-", "step rate that the author, or whoever asked, wants"),
    "strap_code": ("n-", "the code that sets the step rate; null where none is set"),
    "step_hz": ("n-", "step rate in hertz; null where no step clock runs"),
    "procedure": ("s-", "name of the procedure"),
    "run": ("s-", "name of a run of the datasheet; null for the usual one"),
    "runs": ("l:o", "runs of the datasheet, in order"),
    "do": ("l:s", "actions at the bench, as texts: of what was asked, of a run, or of an experiment"),
    "expect": ("s", "what the author expects of a run, in words"),
    "seed": ("n", "of what was drawn by chance"),
    "power_ups": ("n", "power-ups that were tried"),
    "assumed": ("l:s", "what was taken for granted where there is no datasheet, in sentences"),
    "warnings": ("l:s", "what the reader of the source found odd"),
    "contention": ("l:s", "switches that must stay open, in sentences"),
    "mind": ("l:s", "what makes the bench go otherwise than one expects, in sentences"),
    "file": ("s-", "the file that was written or asked; null where none was"),
    "files": ("l:s", "the files that were written"),
    "folder": ("s", "the folder that was made, or the name of the contribution"),
    "empty": ("b", "whether the slot holds nothing"),
    "says": ("s", "what an empty slot shows, in words"),
    # Times and steps
    "time_s": ("n-", "seconds from when the slot is up; null where that never comes"),
    "start_s": ("n", "seconds from power on to when the slot is up"),
    "end_s": ("n", "seconds from when the slot is up to the end; of a golden, from power on"),
    "lasts_s": ("n", "how long it stays, in seconds"),
    "seconds": ("n", "a length or a moment in seconds"),
    "step": ("n-", "steps that the design has seen"),
    "start_step": ("n", "the step at which the slot is up"),
    "tick": ("n", "periods of the oscillator from power on"),
    "steps": ("n-", "a count of steps; null where there is no such count"),
    # What the display and the lines do
    "display": ("m:s", "output line -> segment of the display"),
    "whole": ("o", "what the eye makes of the display as a whole"),
    "pictures": ("l:o", "what there is to see, picture by picture"),
    "brightness": ("l:n-", "of `o0` to `o7`, from 0 to 1; null where unsettled"),
    "words": ("l:s", "what stands at a picture"),
    "repeats": ("o-", "from which picture on it repeats itself, and after how many"),
    "period": ("n", "pictures after which it repeats itself"),
    "period_s": ("n-", "seconds after which a design that may begin anywhere repeats itself"),
    "outputs": ("l:o", "a row for each output"),
    "output_names": ("l:s", "names of outputs"),
    "output_levels": ("s", "levels of the outputs, `o7` first"),
    "changes": ("l:o", "when and to what a signal changes"),
    "change_count": ("n", "how often an output changes"),
    "high": ("n", "share of the time at level 1"),
    "last": ("n-", "the level at the end"),
    "unsettled": ("l:s", "outputs that are not foretold"),
    "unsettled_share": ("n", "share of the time in which an output is not foretold"),
    "unsettled_bits": ("n", "mask of the bits of a signal that are not foretold"),
    "any_unsettled": ("b", "whether anything is not foretold"),
    "line": ("s", "a line: `i0` to `i7`, `o0` to `o7`, or display for all; or a place in the source"),
    "lines": ("m:o", "what there is to say of lines, by name"),
    "line_names": ("l:s", "names of lines"),
    "levels": ("o", "recent levels of lines"),
    "marks": (
        "s",
        "a character for each column of the levels: _ - # ? for low, high, on the move and unsettled",
    ),
    "from_s": ("l:n", "when each column of the levels begins"),
    "to_s": ("n", "when the last column ends"),
    "first_step": ("n-", "step of the first column; null where columns are equal parts of the time"),
    "means": ("s-", "what the datasheet says of a line"),
    "status": ("l:s", "step clock, restart, why nothing moves, presses, in sentences"),
    "eye": ("o", "what the eye makes of it"),
    "kind": (
        "s",
        "of which kind it is: for the eye steady, readable, flickering, blended or unsettled; or that of an "
        "attachment, a cause, or a difference",
    ),
    "verdict": ("s-", "agrees, differs, inconclusive; or of a slot untried, or that it cannot be told"),
    "level": ("n", "mean brightness, 0 to 1"),
    "shortest_s": ("n-", "the shortest time for which it stays as it is"),
    "hz": ("n-", "a rate in hertz"),
    "range_hz": ("o-", "the least and the most of a rate in hertz, and its mean where it is measured"),
    "readable": ("o-", "a strap code that makes it readable, where that is wanted and known"),
    "flashes": ("o", "the worst second, by the limits for light that flashes"),
    "in_a_second": ("n", "flashes in the worst second"),
    "too_much": ("b", "whether that is more than allowed"),
    "held": ("b", "whether it is held still for that reason"),
    "first_light": ("o-", "when the display is lit first, where that is late"),
    "within_the_run": ("b", "whether that lies within the run"),
    "attachments": ("l:o", "what each thing that is wired to the lines makes of them"),
    "terminals": ("m:s", "terminal of an attachment -> line"),
    "attachment_kinds": ("m:m", "what may be wired to the lines, by kind"),
    "watched": ("m:o", "signals of the source by name: width and changes"),
    "width": ("n", "bits of a signal"),
    "value": ("n-", "value of a signal"),
    "alike": ("b", "whether all power-ups give this value"),
    "causes": ("l:o", "what made it so, or what would; each may have causes of its own"),
    "explanation": ("o-", "what would explain a recording that differs; null where nothing differs"),
    "since_s": ("n-", "when it changed last, in seconds"),
    "since_step": ("n-", "when it changed last, in steps"),
    # How far it holds
    "start": ("s", "fixed, or anywhere in a period"),
    "settling": ("o-", "whether and when the outputs settle"),
    "restarted": ("b", "whether the procedure has a restart"),
    "anywhere": ("b", "whether power-ups show the same but for a shift in time"),
    "never": ("l:s", "outputs that are unsettled at the end"),
    "again": ("l:s", "outputs that were unsettled once more"),
    "raced": ("l:s", "outputs that a race leaves open"),
    "proved": ("l:s", "outputs that are proved"),
    "sampled": ("l:s", "outputs on which all power-ups that were tried agree"),
    "restarting": ("o-", "what the restart alone settles"),
    "settles": ("s", "what the restart settles: everything, outputs, nothing, or unknown"),
    "sentence": ("s", "the same in words; on a card what to do"),
    "left_out": ("l:s", "registers that the restart leaves as they were"),
    "late": ("l:s", "those that settle by steps after the restart"),
    "reached": ("l:s", "outputs that depend on what is left out"),
    "shown": ("l:s", "of these, those that were seen unsettled"),
    "left_open": ("s", "what no proof was tried of"),
    "fastest_hz": ("n-", "the rate at which restart and step line may race"),
    "races": ("l:o", "lines that moved in one update, and what hangs on their order"),
    "suspects": ("l:o", "races that only the proof suspects"),
    "registers": ("l:s", "registers that a race decides"),
    "free_running": ("l:o", "loops of gates that never rest"),
    "nets": ("l:s", "nets of such a loop"),
    "places": ("l:s", "places in the source"),
    "gates": ("l:n", "gates of the shortest and the longest way round"),
    "rows": ("n", "rows of the golden"),
    "facts": ("m:ns", "facts of a golden by name, as in its side file"),
    "fact_names": ("l:s", "names of the facts that differ"),
    "first_row": ("s-", "the first row that only the new golden has"),
    "goldens": ("n", "goldens that are to be kept"),
    "updated": ("b", "whether they were kept anew"),
    "differences": ("l:o", "goldens that differ from those that are kept"),
    "design": ("s", "name of the design"),
    "fewer": ("n", "rows that are there no more"),
    # Attachments
    "baud": ("n-", "bits a second"),
    "text": ("s", "what a terminal received"),
    "characters": ("n", "how many characters"),
    "mistakes": ("l:o", "what went wrong, with times"),
    "fault_count": ("n", "how many stuck-at faults there are"),
    "fault": ("s", "what went wrong, in words"),
    "reads": ("l:o", "what was read from a memory"),
    "address": ("n-", "address of the first byte"),
    "data": ("s", "bytes in hexadecimal"),
    "looks": ("l:o", "when and how a lamp changed"),
    "lit": ("n-", "brightness of a lamp, from 0 to 1; null where unsettled"),
    "screens": ("l:o", "what a character display showed"),
    "texts": ("l:s", "the rows of such a display"),
    "duty": ("o-", "share of a period at level 1: least, mean and most"),
    "least": ("n", "the least of a measure"),
    "mean": ("n", "its mean"),
    "most": ("n", "the most"),
    "periods": ("n", "whole periods that were measured"),
    # Verdicts
    "capture": ("s-", "name of the recording; null where there is none"),
    "slots": ("l:o", "slot by slot"),
    "bits": ("n", "bits that were compared"),
    "evidence": ("n-", "odds that it is not by chance, in bits"),
    "reasons": ("l:s", "why, in sentences"),
    "remedies": ("l:s", "what would tell, in sentences"),
    "notes": ("l:s", "what the reader of the recording found"),
    "groups": ("l:o", "causes that the recording cannot tell apart, the likeliest first"),
    "differing": ("l:o", "bits that differ, by line and by setting of the inputs"),
    "setting": ("s", "levels of the inputs, `i7` first"),
    "wrong": ("n", "bits that differ"),
    "compared": ("n", "bits that were compared"),
    "first": ("o-", "the first difference"),
    "first_picture": ("n", "number of the picture from which on it repeats itself, from 0"),
    "more": ("n", "how many more there are"),
    "entries": ("l-:n", "entries of a list by eye that differ"),
    "expected": ("n", "the level that was foretold"),
    "seen": ("n", "the level that was recorded"),
    "golden_s": ("n-", "when, in seconds of the golden"),
    "capture_s": ("n-", "when, in seconds of the recording"),
    "golden_start_s": ("n-", "where in the golden the recording begins"),
    "expected_hz": ("n-", "step rate that was foretold"),
    "rate_hz": ("n-", "step rate that was found"),
    "rate_sigma_hz": ("n-", "standard deviation of that"),
    "codes": ("l:o", "strap codes with the rate and the switches of each"),
    "code_ranges": ("l:l:n", "strap codes that fit, as first and last of neighbours"),
    "strap_codes": ("l:n", "strap codes that fit"),
    "error_percent": ("n-", "how far a rate lies from the wish"),
    "switches": ("m-:n", "level of each switch, by line; null where no switch sets it"),
    "settings": ("l:o", "switch by switch, how it is to stand"),
    "error": ("o", "what is wrong, and then there is nothing else"),
    "what": ("s", "what was found"),
    "place": ("s", "where"),
    "remedy": ("s", "what to do"),
    "exit_code": ("n", "the exit code"),
    "loops": ("n", "loops that were counted"),
    "steps_per_loop": ("n", "steps of a loop"),
    "expected_loops": ("n", "loops that were foretold"),
    "low_hz": ("n", "the slowest rate that fits the count"),
    "high_hz": ("n", "the fastest rate that fits the count"),
    # Coverage
    "coverage": ("o-", "how many faults a run, or all runs, would reveal"),
    "proves": ("o-", "what a recording that agrees has proved"),
    "proved_share": ("n-", "share of the possible faults that recordings that agree have ruled out, 0 to 1"),
    "possible": ("n", "faults that some run may reveal"),
    "revealed": ("n", "faults that were revealed"),
    "tried": ("n", "faults that were tried"),
    "share": ("n-", "revealed of the possible, 0 to 1"),
    "margin": ("n-", "by how much the share may be off, where not all were tried"),
    "missed": ("l:o", "faults that were not revealed"),
    "hopeless": ("l:o", "faults that no run can reveal"),
    "stuck": ("n", "the level at which it is stuck"),
    "number": ("n", "which of the faults"),
    "item": ("s", "number of a task, as it is printed"),
    "growth": ("l:o", "what was revealed after which step"),
    "together": ("o", "all runs together"),
    "improved": ("o-", "a run that reveals more"),
    "gained": ("n", "faults that it reveals more"),
    "why_not": ("s-", "why there is no answer; null where there is one"),
    # Cards
    "cards": ("l:o", "the cards"),
    "card_count": ("n", "how many cards were made"),
    "headings": (
        "m:o",
        "what stands below each heading of a card: Care, Set, Start, See, Probe, Slips, in small letters",
    ),
    "kinds": ("l:s", "what kinds of design it is of"),
    "sentences": ("l:s", "what stands there"),
    "tasks": ("l:o", "what to do, in order, each with tasks of its own"),
    "task_count": ("n", "how many tasks there are"),
    "label": ("s", "label on the board"),
    "strapped": ("n-", "level while the strap code is taken"),
    "then": ("n", "level after that"),
    "pull": ("n-", "level of the line with its switch open"),
    "contact": ("s-", "open or closed"),
    # Sound
    "samples_per_second": ("n", "samples of sound a second"),
    "volume": ("n", "share of full scale"),
    "highest_hz": ("n-", "the highest pitch"),
    "note": ("s-", "the nearest note"),
    "cents": ("n-", "by how much the note is missed, in cents"),
    "caution": ("s", "what to mind"),
    # Contributions and lessons
    "accepted": ("b", "whether the contribution is ready"),
    "findings": ("l:o", "what was found in it"),
    "must": ("b", "whether it must be put right"),
    "subject": ("s", "what it is about"),
    "said": ("s", "what was found, in words"),
    "lesson": ("n", "number of the lesson"),
    "done": ("n", "tasks that are done"),
    "datasheet": ("m:m", "keys of a datasheet"),
    "board_profile": ("m:m", "keys of a board profile"),
    # Notebooks
    "survey": ("o", "what was written into the notebook"),
    "id": ("s", "of a try"),
    "chips": ("l:o", "the chips of a notebook"),
    "slot_count": ("n", "slots of the chip"),
    "counts": ("m:n", "how many slots stand how"),
    "tries": ("l:o", "what was tried, or is to be"),
    "try_count": ("n", "how many tries there are"),
    "remark": ("s-", "what else whoever tried it had to say"),
    "at": ("s-", "when it was written down"),
    "who": ("s-", "who tried it"),
    "command": ("s-", "the command that asks for it"),
    "cause": ("s", "the likeliest cause"),
    "reason": ("s", "why it stands so"),
    "inputs": ("s-", "levels of the inputs, `i7` first"),
    "answer": ("a", "what was answered then, with the keys of that time"),
    "again_of": ("s-", "the try that this one judges anew, or withdraws"),
    "withdrawn": ("b", "whether a later entry says that it does not count"),
    "recording": ("s-", "the kept recording"),
    "capture_sha256": ("s-", "hash of a recording"),
    "board_sha256": ("s-", "hash of all in a board that can change a prediction"),
    "netlist_sha256": ("s-", "hash of the design's netlist"),
    "procedure_sha256": ("s-", "hash of the actions"),
    "wanted": ("n", "tries that were asked for"),
    "moves": ("n", "switches that move"),
    "why": ("s", "why to try this"),
    "exercise": ("o", "a recording with a hidden cause, or what an answer to it is worth"),
    "worth": ("s", "of an answer to an exercise: right, nearly or wrong"),
    "answered": ("s", "the answer to an exercise"),
    "experiment": ("o-", "actions that part two causes; null where nothing does or is needed"),
    "foretells": ("l:n", "the levels of a line that the first and the second cause foretell"),
    "shares": ("l:n", "the odds of the first and the second cause, each from 0 to 1"),
    "experiments": ("l:s", "files of such actions"),
    "contradictions": ("l:o", "where people contradict each other"),
    "joined": ("l:o", "notebook by notebook, what came of it"),
    "new": ("n", "tries that were new"),
    "otherwise": ("n", "tries that say otherwise"),
    "recordings": ("n", "recordings that were taken over"),
    "judged": ("n", "recordings that were judged anew"),
    "moved": ("l:o", "verdicts that are others now"),
    "before": ("s-", "the verdict before"),
    "evidence_before": ("n-", "the odds before, in bits"),
    "design_changed": ("b", "whether the design is another now"),
    "not_judged": ("l:o", "what could not be judged"),
    "without_recording": ("n", "tries without a kept recording"),
    "written": ("b", "whether that was written down"),
}
#: Command -> what is asked of it -> the keys that the answer always has; of a list, each of its objects.
ANSWERS: Mapping[str, Mapping[str, str]] = {
    "slots": {"slots": "slot name title format wanted_hz description"},
    "show": {
        "a design": "board slot empty name title creator description strap_code step_hz wanted_hz do expect assumed "
        "warnings mind display start_s end_s outputs unsettled settling restarting start period_s races suspects "
        "free_running pictures repeats attachments eye status first_light levels watched runs flashes power_ups seed "
        "file",
        "an empty slot": "board slot empty output_levels says",
        "--why": "name step time_s value alike places causes",
    },
    "wall": {"a chip": "board display slots"},
    "golden": {
        "a design": "files name board do rows start_s end_s settling restarting races suspects unsettled facts "
        "warnings contention",
        "--all": "goldens updated differences",
    },
    "check": {
        "a design": "capture name board slot start_s start_step warnings verdict steps bits first more rate_hz "
        "rate_sigma_hz expected_hz strap_codes evidence line_names golden_start_s entries reasons remedies notes "
        "proves explanation",
        "--any": "capture board slots",
        "--exercise": "capture board exercise",
    },
    "count": {
        "a count": "verdict name board slot strap_code loops seconds steps_per_loop expected_hz hz low_hz high_hz "
        "expected_loops code_ranges"
    },
    "strap": {"a rate or a code": "board wanted_hz codes"},
    "card": {
        "a design": "name slot title creator description run kinds do headings file",
        "--all": "board cards file",
    },
    "listen": {
        "a line": "file name board do line seconds samples_per_second volume highest_hz note cents any_unsettled "
        "caution"
    },
    "lesson": {"--progress": "lesson title task_count done"},
    "vet": {"contributions": "name title accepted findings settling restarting"},
    "draft": {"a folder": "folder files", "--keys": "datasheet attachment_kinds board_profile"},
    "survey": {
        "a notebook": "file chips",
        "a slot": "file tries",
        "next": "file board wanted moves bits tries experiments",
        "report": "board slot_count counts slots contradictions file",
        "merge": "file joined contradictions",
        "withdraw": "file id again_of slot verdict",
        "again": "file board judged without_recording written moved not_judged",
    },
}


#: Key -> objects that it holds, itself or as a list or under names -> the keys that each of them always has.
OBJECTS: Mapping[str, Mapping[str, str]] = {
    "runs": {
        "of a datasheet": "name do expect",
        "of a coverage": "run fault_count tried possible revealed share margin missed hopeless growth",
    },
    "outputs": {"each": "name high change_count last unsettled_share"},
    "pictures": {"to be played": "time_s lasts_s step brightness", "on a card": "brightness words"},
    "repeats": {"it": "first_picture period"},
    "eye": {"it": "whole lines readable"},
    "whole": {"it": "kind level shortest_s hz"},
    "lines": {"to the eye": "kind level shortest_s hz", "of levels": "means marks"},
    "readable": {"it": "strap_code hz"},
    "flashes": {"it": "in_a_second line too_much"},
    "first_light": {"it": "time_s step within_the_run"},
    "levels": {"it": "from_s to_s first_step lines"},
    "watched": {"each": "width changes"},
    "changes": {"each": "time_s value unsettled_bits"},
    "settling": {"it": "restarted anywhere steps never raced proved sampled again"},
    "restarting": {
        "it": "settles steps left_out late reached shown left_open raced fastest_hz sentence",
    },
    "races": {"each": "tick step line_names output_names registers"},
    "suspects": {"each": "tick step line_names output_names registers"},
    "free_running": {"each": "nets places gates range_hz"},
    "range_hz": {"of gates": "least most", "measured": "least mean most"},
    "duty": {"it": "least mean most"},
    "attachments": {
        "a terminal": "kind terminals baud text characters mistakes",
        "a display": "kind terminals screens mistakes",
        "a memory": "kind terminals reads mistakes",
        "a lamp": "kind terminals looks",
        "a speaker or a meter": "kind terminals periods range_hz duty",
    },
    "mistakes": {"each": "time_s fault"},
    "reads": {"each": "time_s address data"},
    "looks": {"each": "time_s lit"},
    "screens": {"each": "time_s texts"},
    "causes": {
        "of a level": "name kind value since_s since_step places causes",
        "of a recording": "name kind said remedy",
    },
    "explanation": {"it": "tried groups differing experiment"},
    "groups": {"each": "share bits causes"},
    "differing": {"each": "line setting wrong compared"},
    "experiment": {"it": "do line foretells shares said"},
    "first": {"it": "golden_s capture_s step line expected seen"},
    "exercise": {
        "a task": "seed file",
        "an answer": "seed answered worth kind name said remedy",
    },
    "differences": {"each": "design run kind more fewer first_row fact_names"},
    "coverage": {
        "of a run": "fault_count tried possible revealed share margin missed hopeless growth",
        "of a contribution": "why_not runs together",
    },
    "proves": {"it": "fault_count tried possible revealed share margin missed hopeless growth"},
    "together": {"it": "fault_count tried possible revealed share margin missed hopeless growth"},
    "missed": {"each": "number line stuck places"},
    "hopeless": {"each": "number line stuck places"},
    "growth": {"each": "step seconds revealed"},
    "improved": {"it": "file do gained coverage"},
    "codes": {"each": "strap_code hz error_percent switches"},
    "cards": {"each": "name slot title creator description run kinds do headings"},
    "headings": {
        "Care, See without pictures, Probe, Slips": "sentences",
        "Set": "sentences settings",
        "Start": "tasks",
        "See": "sentences pictures",
    },
    "settings": {"each": "line label strapped then pull contact means"},
    "tasks": {"each": "item sentence tasks"},
    "findings": {"each": "subject said place must"},
    "error": {"it": "what place remedy exit_code"},
    "slots": {
        "of a chip": "slot name title format wanted_hz description",
        "of a wall": "slot name title end_s eye flashes held pictures",
        "of check --any": "slot name title run why_not verdict",
        "of a notebook": "board slot name title verdict reason cause remedies proved_share try_count card_count "
        "command procedure strap_code inputs evidence capture capture_sha256 netlist_sha256 board_sha256 "
        "procedure_sha256 remark",
    },
    "survey": {"it": "file id"},
    "chips": {"each": "board slot_count counts slots contradictions"},
    "contradictions": {"each": "slot name tries"},
    "tries": {
        "that were made": "verdict command procedure strap_code inputs evidence capture capture_sha256 "
        "netlist_sha256 board_sha256 procedure_sha256 remark",
        "to be made": "slot name title why bits moves do inputs strap_code command verdict remedy",
    },
    "joined": {"each": "file try_count new recordings otherwise"},
    "moved": {
        "each": "id slot name who before verdict evidence_before evidence design_changed reasons",
    },
    "not_judged": {"each": "id why_not"},
}


def kind(key: str) -> str:
    """The JSON type of a key, with what is in a list or under names, and whether it may be null."""
    return _told(KEYS[key][0])


def _told(types: str) -> str:
    head, _, inside = types.partition(":")
    named = [_TYPES[letter] for letter in head]
    return " or ".join([f"{named[0]} of {_told(inside)}" if inside else named[0], *named[1:]])


def always(command: str) -> Iterator[tuple[str, list[str]]]:
    """What may be asked of a command, and the keys that each answer has."""
    for asked, keys in ANSWERS[command].items():
        yield asked, ["schema", *keys.split()]


def versioned(answer: object) -> object:
    """An answer with its version in it."""
    if isinstance(answer, dict):
        return {"schema": VERSION, **answer}
    return [versioned(one) for one in answer] if isinstance(answer, list) else answer


def schema(command: str | None = None) -> dict[str, object]:
    """What a command may answer, or any of them, as a JSON Schema (draft 2020-12); an error is an answer too."""
    one: dict[str, object] = {"$ref": "#/$defs/object", "required": ["schema"]}
    if command:
        one["anyOf"] = [{"title": asked, "required": keys} for asked, keys in always(command)]
    failed = {"$ref": "#/$defs/object", "required": ["schema", "error"]}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"forelight {command} --json" if command else "forelight --json",
        "version": VERSION,
        "anyOf": [one, {"type": "array", "items": one}, failed],
        "$defs": {
            "object": {
                "type": "object",
                "properties": {
                    key: {"description": means, **_valid(types, key)} for key, (types, means) in KEYS.items()
                },
                "additionalProperties": False,
            },
        },
    }


def _valid(types: str, key: str) -> dict[str, object]:
    """What a value of these types is valid by; objects in it are those of `key`."""
    head, _, inside = types.partition(":")
    letters, null = head.removesuffix("-"), head.endswith("-")
    if letters == "a":
        return {}
    if letters in ("l", "m"):
        within = {"l": "items", "m": "additionalProperties"}[letters]
        found: dict[str, object] = {"type": _TYPES[letters], within: _valid(inside, key) if inside else {}}
    elif letters == "o":
        found = {"$ref": "#/$defs/object"}
        if key in OBJECTS:
            of = OBJECTS[key].items()
            found["anyOf"] = [{"title": which, "required": keys.split()} for which, keys in of]
    else:
        named = [_TYPES[letter] for letter in head]
        return {"type": named if len(named) > 1 else named[0]}
    return {"anyOf": [found, {"type": "null"}]} if null else found
