"""What no rewriting helps with: words that Yosys lacks, and what it reads wrongly without a word, each with a way out.

Source: IEEE 1364-2005, clauses 4.6 and 7 (nets and gates); IEEE 1800-2017 for the rest. Of several drivers on `wand`
and `wor` Yosys 0.70 takes one that is off for a 0; of an array of structures it takes a bit for a whole one.
"""

from __future__ import annotations

from .pulls import is_z
from .tokens import Verilog, declared

_SWITCHES = "nmos pmos cmos rnmos rpmos rcmos tran tranif0 tranif1 rtran rtranif0 rtranif1"  # as in IEEE 1364-2005, 7.1
#: What is said of a word wherever it stands, and the remedy.
_WORDS = {
    "trireg": ("nets of kind trireg are not supported", "keep the level in a latch or a register"),
    "pullup": ("the primitive pullup is not supported", "declare the net as tri1"),
    "pulldown": ("the primitive pulldown is not supported", "declare the net as tri0"),
    **{
        word: (f"the switch primitive {word} is not supported", "write a bufif1, or an assignment with z")
        for word in _SWITCHES.split()
    },
}
GATES = ("and", "nand", "or", "nor", "xor", "xnor", "not", "buf", "bufif0", "bufif1", "notif0", "notif1")
_STRENGTHS = (
    "supply0",
    "supply1",
    "strong0",
    "strong1",
    "pull0",
    "pull1",
    "weak0",
    "weak1",
    "highz0",
    "highz1",
)
#: Of enumerations, as in IEEE 1800-2017, 6.19.5.
_METHODS = ("first", "last", "next", "prev", "num", "name")
#: Words of IEEE 1800-2017 at which Yosys stops, and what to write instead.
LACKING = {
    "inside": "write the comparisons out",
    "foreach": "write a for loop",
    "break": "name a block around the loop, and disable it",
    "continue": "name the block in the loop, and disable it",
    "interface": "write the signals one by one",
    "class": "write modules and functions",
    "real": "count in integers, or read a table with $readmemh",
}


def refuse_unsupported(verilog: Verilog) -> None:
    """Raises SourceError with the place."""
    for at in verilog.where(*_WORDS):
        if verilog.tokens[at].is_name():
            raise verilog.refused(at, *_WORDS[verilog.word(at)])
    for at in verilog.where(*GATES):
        drawn = verilog.word(at - 1) in (";", "begin", "end") and verilog.word(at + 2) == "["
        if drawn and verilog.word(verilog.close(at + 2) + 1) == "(":
            raise verilog.refused(
                at, f"an array of the primitive {verilog.word(at)} is not supported", "write a generate loop"
            )
    for at in verilog.where("assign"):
        if verilog.word(at + 1) == "(" and verilog.word(at + 2) in _STRENGTHS:
            raise verilog.refused(at, "drive strengths are not supported", "declare the net as tri0 or tri1")
    for _, start, end in verilog.modules():
        _refuse_wired(verilog, start, end)
    _refuse_structures(verilog)
    _refuse_methods(verilog)
    for at in verilog.where("parameter", "localparam"):
        if verilog.word(at + 1) == "type":
            raise verilog.refused(
                at, "a parameter that is a type is not supported", "take its width for the parameter"
            )


def _refuse_wired(verilog: Verilog, start: int, end: int) -> None:
    """Nets on which drivers meet, where one of them may be off."""
    nets = {
        verilog.word(first)
        for _, name, last in declared(verilog, start, end, ("wand", "wor", "triand", "trior"))
        for first, _ in verilog.parts(name, last)
    }
    for at in verilog.where("assign", start=start, end=end) if nets else ():
        last = verilog.until(at, ";")
        if verilog.word(at + 1) in nets and any(is_z(verilog.word(n)) for n in range(at, last)):
            raise verilog.refused(
                at,
                f"a driver of {verilog.word(at + 1)} that may be off is not supported on a net that joins its drivers",
                "let it drive 1 on a wand and 0 on a wor instead of z",
            )


def _refuse_methods(verilog: Verilog) -> None:
    """Methods of enumerations, which without brackets Yosys takes for nets that nothing drives."""
    kinds = {
        verilog.word(verilog.until(at, ";") - 1)
        for at in verilog.where("typedef")
        if verilog.word(at + 1) == "enum"
    }
    variables = {
        verilog.word(first)
        for kind in kinds
        for at in verilog.where(kind)
        if verilog.tokens[at + 1].is_name()
        for first, _ in verilog.parts(at + 1, verilog.until_any(at + 1, len(verilog.tokens), ";", ")"))
    }
    for name in variables:
        for at in verilog.where(name):
            if verilog.word(at + 1) == "." and verilog.word(at + 2) in _METHODS:
                raise verilog.refused(
                    at,
                    f"the method {verilog.word(at + 2)} of {name} is not supported",
                    "write a case over its members",
                )


def _refuse_structures(verilog: Verilog) -> None:
    """Arrays whose elements are structures."""
    for at in verilog.where("typedef"):
        if verilog.word(at + 1) in ("struct", "union"):
            opening = next(n for n in range(at, len(verilog.tokens)) if verilog.word(n) == "{")
            kind = verilog.word(verilog.close(opening) + 1)
            for used in verilog.where(kind):
                if verilog.word(used + 1) == "[":
                    raise verilog.refused(
                        used,
                        f"an array of the structure {kind} is not supported",
                        "write a variable for each",
                    )
