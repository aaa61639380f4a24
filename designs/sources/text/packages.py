"""`import` of packages, as names with their package before them.

Source: IEEE 1800-2017, 26.3. Yosys 0.70 reads `p::x`, but no `import`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from .tokens import Verilog, declared

#: What each package declares.
Packages = Mapping[str, frozenset[str]]
#: Words before a name that do not declare it.
_USING_WORDS = (
    "and assign begin buf default do edge else end endcase endfunction endtask generate initial nand negedge nor not or"
    " posedge return xnor xor"
)
_USING = frozenset(_USING_WORDS.split())
_NETS = (
    "input",
    "output",
    "inout",
    "wire",
    "reg",
    "logic",
    "bit",
    "int",
    "integer",
    "genvar",
    "parameter",
    "localparam",
)


def declared_by(texts: Iterable[Verilog]) -> Packages:
    """The names of each package of some texts."""
    return {
        verilog.word(at + 1): frozenset(_names(verilog, at, verilog.until_word(at, "endpackage")))
        for verilog in texts
        for at in verilog.where("package")
    }


def _names(verilog: Verilog, start: int, end: int) -> Iterator[str]:
    """Parameters, types, members of enumerations, functions and tasks."""
    for at in verilog.where("parameter", "localparam", start=start, end=end):
        for first, last in verilog.parts(at + 1, verilog.until(at, ";")):
            yield verilog.word(verilog.until_any(first, last, "=") - 1)
    for at in verilog.where("typedef", start=start, end=end):
        last = verilog.until(at, ";")
        while verilog.word(last - 1) == "]":
            last = verilog.open(last - 1)
        yield verilog.word(last - 1)
    for at in verilog.where("enum", start=start, end=end):
        opening = next(n for n in range(at, end) if verilog.word(n) == "{")
        yield from (verilog.word(first) for first, _ in verilog.parts(opening + 1, verilog.close(opening)))
    for at in verilog.where("function", "task", start=start, end=end):
        yield verilog.word(verilog.until_any(at, verilog.until(at, ";"), "(") - 1)


def rewrite_imports(verilog: Verilog, packages: Packages) -> None:
    """Raises SourceError for a package that is not there, in another package, and for a name that is declared anew."""
    for at in verilog.where("import"):
        last, end = verilog.until(at, ";"), _end(verilog, at)
        imported: dict[str, str] = {}
        for first, _ in verilog.parts(at + 1, last):
            package, name = verilog.word(first), verilog.word(first + 2)
            if verilog.word(first + 1) != "::":
                return  # it is no import of a package: Yosys says so
            if package not in packages:
                raise verilog.refused(
                    first, f"there is no package {package}", "name its file too, before this one"
                )
            if name not in packages[package] | {"*"}:
                known = ", ".join(sorted(packages[package]))
                raise verilog.refused(first, f"there is no {name} in package {package}", f"it has {known}")
            for one in packages[package] if name == "*" else (name,):
                imported[one] = package
        verilog.instead(at, last + 1, "")
        anew = _declared(verilog, last, end)
        for name, package in imported.items():
            for used in verilog.where(name, start=last + 1, end=end):
                if verilog.word(used - 1) in (".", "::") or verilog.word(used + 1) == "::":
                    continue
                typed = verilog.tokens[used + 1].is_name()  # it is the type of that
                if not typed and (used in anew or _declares(verilog, used)):
                    raise verilog.refused(
                        used,
                        f"{name} is declared here and in package {package}, which is imported",
                        "give it another name",
                    )
                # Yosys knows a type of a package where no blank stands in its name.
                verilog.instead(used, used + 1, f"{package}::{name}")


def _end(verilog: Verilog, at: int) -> int:
    """Where the reach of an import ends: with its module, or with the text."""
    for start in verilog.where("package"):
        if start < at < verilog.until_word(start, "endpackage"):
            raise verilog.refused(at, "a package that imports another is not supported", "join the two")
    return next((end for _, start, end in verilog.modules() if start < at < end), len(verilog.tokens))


def _declared(verilog: Verilog, start: int, end: int) -> set[int]:
    """Places of names in declarations that begin with a word of the language."""
    stretches = ((name, last) for _, name, last in declared(verilog, start, end, _NETS))
    return {first for name, last in stretches for first, _ in verilog.parts(name, last)}


def _declares(verilog: Verilog, at: int) -> bool:
    """Whether a name stands behind a type."""
    before = verilog.tokens[at - 1]
    return before.text == "]" or (before.is_name() and before.text not in _USING)
