"""Verilog to RTLIL: preprocessed and then read by Yosys, kept between runs by what was really opened."""

from __future__ import annotations

import json
import os
import re
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

from forelight.sim.disk_cache import DiskCache, key
from forelight.sim.errors import SourceError

from .child_process import MORE_TIME, OutgrownError
from .text.packages import declared_by
from .text.rewrite import rewritten
from .text.tokens import Verilog
from .verilog_files import content, included, reachable, refuse_outside, state, tables
from .verilog_words import failure, noted, refuse_fights, warnings_of
from .yosys import TEXT, Done, Native, Sandbox, runner

#: RTLIL that Yosys has written, by a hash of everything that it depends on.
CACHE = DiskCache(".rtlil", 64 * 2**20)
#: Of each source with its options: the files beside it that its last reading looked for, and the name of its RTLIL.
OPENED = DiskCache(".opened", 4 * 2**20)

#: What follows reading. Not `opt`: it splits registers by enable, which slows simulation. Nor `opt_expr`: it merges
#: inverters in a row and takes `a & ~a` for 0, and gates as drawn say how fast a ring runs and where a clock glitches.
#: `tribuf` makes one driver of several that share a net through high impedance, which is off where they all are.
SCRIPT = (
    "proc -noopt",
    "flatten",
    "tribuf -merge",
    "opt_clean",
    "memory_collect",
    "opt_clean",
    "write_rtlil",
)
_DUMP, _DUMP_END = "-- Verilog code after preprocessor --\n", "-- END OF DUMP --"
#: Ends the parsing that follows a dump of what the preprocessor made, which is all that is wanted.
_STOP = ")\n"

Define = Mapping[str, int | str | None]


def verilog_rtlil(
    files: Sequence[str | Path],
    *,
    top: str | None = None,
    include: Sequence[str | Path] = (),
    define: Define | None = None,
    folder: str | Path | None = None,
    sandbox: bool = False,
) -> str:
    """RTLIL text of Verilog-2005 (`.v`) or SystemVerilog (`.sv`) files, flattened into the module `top`.

    Relative paths are meant from `folder` (default: the current one). Warnings stand as comment lines at the
    head. With `sandbox` the WebAssembly build reads them, and sees nothing but the folder that holds the files.
    Raises SourceError with its file and line.
    """
    start = Path(folder or ".").absolute()
    paths = [_existing(start / file) for file in files]
    if not paths:
        raise SourceError("no Verilog file was named", remedy="name at least one")
    base = Path(os.path.commonpath([path.parent for path in paths]))
    names = [os.path.relpath(path, base) for path in paths]
    folders = [os.path.relpath(_existing(start / path), base) for path in include]
    yosys = runner(base, sandbox)
    options = [f"-I{folder}" for folder in folders]
    options += [f"-D{n}" if value is None else f"-D{n}={value}" for n, value in (define or {}).items()]
    sources = [content(base, name) or b"" for name in names]
    entry = key([yosys.version(), _OWN, repr((names, options, top)), *sources])
    kept = _kept(base, entry)
    if kept is not None:
        return kept
    reading = _SourceReader(base, names, folders, yosys)
    try:
        text = reading.rtlil(options, top)
    except subprocess.TimeoutExpired as late:
        raise SourceError(
            f"Yosys did not finish within {late.timeout} s",
            place=", ".join(names),
            remedy=MORE_TIME,
        ) from None
    except OutgrownError as much:
        raise SourceError(
            f"what Yosys makes of it takes more than {much.most >> 20} MiB",
            place=", ".join(names),
            remedy="simplify the design",
        ) from None
    if reading.places is not None:
        beside = state(base, reading.places)
        name = key([entry, *(part for pair in beside for part in pair)])
        CACHE.store(name, text.encode())
        OPENED.store(entry, json.dumps([name, beside]).encode())
    return text


def _kept(base: Path, entry: str) -> str | None:
    """The RTLIL of an earlier reading, if all files that it looked for are as they were."""
    found = OPENED.load(entry)
    if found is None:
        return None
    name, beside = json.loads(found)
    if state(base, (place for place, _ in beside)) != beside:
        return None
    known = CACHE.load(name)
    return None if known is None else known.decode()


def _own_version() -> str:
    """What tells this way of reading from others."""
    here = Path(__file__).parent
    files = [Path(__file__), here / "verilog_words.py", *sorted((here / "text").glob("*.py"))]
    return " ".join(f"{file.name} {file.stat().st_size} {file.stat().st_mtime_ns}" for file in files)


_OWN = _own_version()


def _existing(path: Path) -> Path:
    if not path.exists():
        raise SourceError("no such file", place=str(path), remedy="check the path")
    if any(c in str(path) for c in '"\n\r'):
        raise SourceError("the path holds a quote or a line break", place=repr(str(path)), remedy="rename it")
    return path.resolve()


class _SourceReader:
    """One reading of some sources: the preprocessor first, then the text that it made."""

    def __init__(self, base: Path, names: list[str], folders: list[str], yosys: Native | Sandbox) -> None:
        self.base, self.names, self.folders, self.yosys = base, names, folders, yosys
        #: Files beside the sources that were looked for, relative to `base`; None where that is not known.
        self.places: list[str] | None = None

    def rtlil(self, options: list[str], top: str | None) -> str:
        allowed = reachable(self.base, self.names, self.folders)
        expanded, noticed = self.expanded(options, allowed)
        read = [Verilog.read(text) for text in expanded]
        packages = declared_by(read)
        texts = [rewritten(verilog, packages) for verilog in read]
        refuse_outside(self.base, read, allowed)
        memories, written_out = tables(read)
        if written_out:
            self.places = [*included(read, self.folders), *memories]
            allowed = [path for path in (self.base / place for place in memories) if path.is_file()]
        done = self.run(_commands(self.names, top), texts, allowed)
        return _result(done, self, read, noticed)

    def expanded(self, options: list[str], allowed: Sequence[Path]) -> tuple[list[str], list[str]]:
        """The text of each source with its macros and includes, and what the preprocessor warns of."""
        joined = _STOP + "".join(f'`include "{name}"\n' for name in self.names)
        done = self.run([["read_verilog", "-nodpi", "-ppdump", *options, f"{TEXT}0"]], [joined], allowed)
        before, dump, rest = done.stdout.partition(_DUMP)
        text, end, _ = rest.rpartition(_DUMP_END)
        if not dump or not end:
            raise failure(done, self.base, self.names, [])
        return _parts(text.partition(_STOP)[2]), warnings_of(before)

    def run(self, commands: list[list[str]], texts: Sequence[str], readable: Sequence[Path]) -> Done:
        done = self.yosys.run(commands, texts, readable)
        if self.base == Path(self.base.anchor):
            done = _shortened(done, self.names)
        return done


def _parts(text: str) -> list[str]:
    """The text of each source, from the line that opens it; its last line closes it, and would hide its name."""
    found: list[list[str]] = []
    depth = 0
    for line in text.split("\n"):
        if line.startswith("`file_push"):
            if depth == 0:
                found.append([])
            depth += 1
        if line.startswith("`file_pop"):
            depth -= 1
        if depth:
            found[-1].append(line)
    return ["\n".join(lines).rstrip() + "\n" for lines in found]


def _commands(names: Sequence[str], top: str | None) -> list[list[str]]:
    commands: list[list[str]] = []
    for number, name in enumerate(names):
        language = ["-sv"] if name.endswith(".sv") else []
        # Without -nodpi a source could call any function of the C library. -icells: `gates` writes `$buf`.
        commands.append(["read_verilog", "-nodpi", "-nopp", "-icells", *language, f"{TEXT}{number}"])
    choice = ["-auto-top"] if top is None else ["-top", top]
    return [*commands, ["hierarchy", "-check", *choice], *(line.split() for line in SCRIPT)]


_ROOT = re.compile(r"^root of +(\d+) design levels: (\S+)", re.MULTILINE)


def _result(done: Done, reading: _SourceReader, read: Sequence[Verilog], noticed: Sequence[str]) -> str:
    """The RTLIL in what Yosys printed; warnings become comment lines at the head."""
    names = ", ".join(reading.names)
    if done.returncode != 0:
        raise failure(done, reading.base, reading.names, read)
    own = noted(done.stdout, read)
    refuse_fights(done.stdout, names)
    roots = [(int(levels), name) for levels, name in _ROOT.findall(done.stdout)]
    deepest = [name for levels, name in roots if levels == max(roots)[0]]
    if len(deepest) > 1:
        raise SourceError(
            f"no module uses {' or '.join(sorted(deepest))}", place=names, remedy="name the top"
        )
    start = done.stdout.rfind("\n# Generated by Yosys")
    end = done.stdout.rfind("\nend\n")
    if start < 0 or end < start:
        raise SourceError("there is no module in it", place=names, remedy="is this Verilog?")
    text = done.stdout[done.stdout.index("\n", start + 1) + 1 : end + 5]
    warnings = dict.fromkeys([*noticed, *warnings_of(done.stdout[:start]), *own])
    return "".join(f"# {line}\n" for line in warnings) + text


def _shortened(done: Done, names: Sequence[str]) -> Done:
    """File names alone where the files have no folder in common, which would leave paths of this machine."""
    out, words = done.stdout, done.stderr
    for name in names:
        short = Path(name).name
        out, words = (text.replace(f"{name}:", f"{short}:") for text in (out, words))
        out = out.replace(f'`file_push "{name}"', f'`file_push "{short}"')
    return subprocess.CompletedProcess(done.args, done.returncode, out, words)
