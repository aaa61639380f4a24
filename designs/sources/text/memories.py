"""Memories whose words are numbered from below 0, and places in memories that may be negative.

Source: IEEE 1364-2005, 4.9 and 5.2.2. Yosys 0.70 takes the bits of a negative place for a place above 0.
"""

from __future__ import annotations

from collections.abc import Iterator

from .selects import is_signed, signed_names
from .tokens import Verilog, declared

_KINDS = ("reg", "logic", "bit", "integer")


def rewrite_memories(verilog: Verilog) -> None:
    """Let a negative place lie outside. Raises SourceError for a memory with words below 0."""
    for _, start, end in verilog.modules():
        memories = set(_memories(verilog, start, end))
        nets = signed_names(verilog, start, end, ()) if memories else set()
        signed = signed_names(verilog, start, end) if nets else set()
        for at in verilog.where(*memories, start=start, end=end):
            if verilog.word(at + 1) != "[" or verilog.word(at - 1) in ("]", "reg", "signed", ","):
                continue
            closing = verilog.close(at + 1)
            names = {verilog.word(place) for place in range(at + 2, closing)}
            if names & nets and is_signed(verilog, at + 2, closing, signed):
                place = verilog.source(at + 2, closing)
                verilog.before(at + 2, f"(({place}) < 0) ? 32'sh7fffffff : (")
                verilog.after(closing - 1, ")")


def _memories(verilog: Verilog, start: int, end: int) -> Iterator[str]:
    for _, name, last in declared(verilog, start, end, _KINDS):
        for first, _ in verilog.parts(name, last):
            if verilog.word(first + 1) == "[":
                bounds = verilog.parts(first + 2, verilog.close(first + 1), ":")
                if any(verilog.word(bound) == "-" for bound, _ in bounds):
                    raise verilog.refused(
                        first, f"memory {verilog.word(first)} has words below 0", "number them from 0 on"
                    )
                yield verilog.word(first)
