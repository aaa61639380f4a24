"""Amaranth source to RTLIL: loads the Python file, finds the component, prints it without this machine's paths."""

from __future__ import annotations

import hashlib
import importlib.util
import re
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from forelight.sim.errors import SourceError

if TYPE_CHECKING:
    from amaranth.lib.wiring import Component


def component(path: str | Path, class_name: str | None = None) -> Component:
    """An instance of the component class `class_name` of a Python file; without a name, of the only one.

    Raises SourceError if the file fails, or has no such class, or the class wants arguments.
    """
    from amaranth.lib.wiring import Component

    path = Path(path).absolute()
    module = _load(path)
    classes = {
        name: found
        for name, found in vars(module).items()
        if isinstance(found, type) and issubclass(found, Component) and found.__module__ == module.__name__
    }
    if class_name is None and len(classes) == 1:
        class_name = next(iter(classes))
    if class_name not in classes:
        names = ", ".join(classes) or "none"
        what = (
            "there is no component class"
            if class_name is None
            else f"there is no component class {class_name}"
        )
        if class_name is None and classes:
            what = "which component class is meant?"
        raise SourceError(what, place=str(path), remedy=f"the file defines {names}")
    with _explained(path, f"{class_name}()"):
        return classes[class_name]()


def amaranth_rtlil(component: Component, folder: str | Path | None = None) -> str:
    """RTLIL text of a component, by Amaranth's own writer, with the ports of its signature.

    A `sync` domain that the component does not define gets the ports `clk` and `rst`. Source places are given relative
    to `folder` where they lie in it, else by file name alone.
    """
    from amaranth.back import rtlil

    home = sys.modules[type(component).__module__].__file__
    path = Path(home) if home else Path()
    with _explained(path, f"{type(component).__name__}.elaborate()"):
        text = rtlil.convert(component, name=type(component).__name__)
    return _without_paths(text, Path(folder) if folder else path.parent)


def _load(path: Path) -> ModuleType:
    """Run a Python file as a module of its own; files beside it can be imported by it, and leave no trace."""
    if not path.is_file():
        raise SourceError("no such file", place=str(path), remedy="check the path")
    name = f"forelight_source_{path.stem}_{hashlib.sha256(str(path).encode()).hexdigest()[:8]}"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    before = set(sys.modules)
    littering, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    sys.modules[name] = module
    sys.path.insert(0, str(path.parent))
    try:
        with _explained(path, "the file"):
            spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(path.parent))
        sys.dont_write_bytecode = littering
        for other in set(sys.modules) - before - {name}:
            home = getattr(sys.modules[other], "__file__", None)
            if home and Path(home).parent == path.parent:
                del sys.modules[other]
    return module


@contextmanager
def _explained(path: Path, doing: str) -> Iterator[None]:
    """An exception in someone's design becomes one line: file, line, words."""
    try:
        yield
    except SourceError:
        raise
    except Exception as error:
        if isinstance(error, SyntaxError) and error.filename == str(path):
            raise SourceError(f"{error.msg}", place=f"{path}:{error.lineno}") from error
        frames = traceback.extract_tb(error.__traceback__)
        own = [frame for frame in frames if Path(frame.filename).parent == path.parent]
        place = f"{own[-1].filename}:{own[-1].lineno}" if own else str(path)
        words = " ".join(str(error).split())
        raise SourceError(f"{doing} fails: {type(error).__name__}: {words}", place=place) from error


_SRC = re.compile(r'(attribute \\src ")([^"]*)(:\d+")')


def _without_paths(text: str, folder: Path) -> str:
    def shorten(match: re.Match[str]) -> str:
        place = Path(match[2].replace("\\\\", "\\"))
        name = place.relative_to(folder).as_posix() if place.is_relative_to(folder) else place.name
        return f"{match[1]}{name}{match[3]}"

    return _SRC.sub(shorten, text)
