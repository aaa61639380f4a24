"""All of what is done to a preprocessed Verilog text before Yosys reads it."""

from __future__ import annotations

from forelight.sim.errors import SourceError

from .arguments import rewrite_arguments
from .checks import check
from .gates import rewrite_gates
from .labels import rewrite_labels
from .large_blocks import split_large_blocks
from .leaving import rewrite_leaving
from .memories import rewrite_memories
from .packages import Packages, rewrite_imports
from .pulls import rewrite_pulls
from .selects import rewrite_selects
from .spelling import rewrite_spelling
from .tables import rewrite_tables
from .tokens import Verilog
from .unsupported import refuse_unsupported
from .wildcards import rewrite_wildcards

#: Done first, as others move whole expressions and statements.
_WITHIN_EXPRESSIONS = (rewrite_arguments, rewrite_labels)
_REWRITES = (
    rewrite_spelling,
    rewrite_tables,
    rewrite_leaving,
    rewrite_wildcards,
    rewrite_selects,
    rewrite_memories,
    rewrite_pulls,
    rewrite_gates,
)


def rewritten(verilog: Verilog, packages: Packages) -> str:
    """The text as Yosys is to read it, each line in its place; `packages` are those of all texts.

    Raises SourceError for what is refused, with its file and line.
    """
    try:
        check(verilog)
        refuse_unsupported(verilog)
        rewrite_imports(verilog, packages)
        edited = _again(verilog)
        for rewrite in _WITHIN_EXPRESSIONS:
            rewrite(edited)
        edited = _again(edited)
        for rewrite in _REWRITES:
            rewrite(edited)
        return split_large_blocks(edited.edited())
    except RecursionError:
        raise SourceError("statements are nested too deeply", remedy="simplify the design") from None


def _again(verilog: Verilog) -> Verilog:
    return Verilog.read(verilog.edited()) if verilog.edits else verilog
