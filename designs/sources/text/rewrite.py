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


def rewritten(text: str) -> tuple[Verilog, str]:
    """The text as it was read, and as Yosys is to read it, each line in its place.

    Raises SourceError for what is refused, with its file and line.
    """
    verilog = Verilog.read(text)
    try:
        check(verilog)
        refuse_unsupported(verilog)
        for rewrite in _WITHIN_EXPRESSIONS:
            rewrite(verilog)
        edited = Verilog.read(verilog.edited()) if verilog.edits else verilog
        for rewrite in _REWRITES:
            rewrite(edited)
        return verilog, split_large_blocks(edited.edited())
    except RecursionError:
        raise SourceError("statements are nested too deeply", remedy="simplify the design") from None
