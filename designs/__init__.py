"""Holds the contributed designs and knows how to read one."""

from __future__ import annotations

if __name__ != "forelight.designs":
    raise ImportError(
        "import this room as forelight.designs: a bare `import designs` would load its code a second time"
    )

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .sources.source import read

__all__ = ["read"]


def __getattr__(name: str) -> object:
    """`read` on its first use: who only wants a datasheet need not load the readers."""
    if name == "read":
        from .sources.source import read

        return read
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
