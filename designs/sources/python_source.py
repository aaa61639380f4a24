"""Amaranth source to RTLIL: loads a Python file, finds its component, prints it without this machine's paths."""

from __future__ import annotations

import gc
import hashlib
import importlib.util
import os
import re
import sys
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from forelight.sim.errors import ForelightError, SourceError

if TYPE_CHECKING:
    from amaranth.lib.wiring import Component


def component(path: str | Path, class_name: str | None = None) -> Component:
    """An instance of the component class `class_name` of a Python file.

    Without a name it is the only component class that the file defines, names with a leading underscore aside.
    Raises SourceError if the file fails, or has no such class, or the class fails or wants arguments.
    """
    from amaranth.lib.wiring import Component

    path = Path(path)
    module = _load(path)
    classes = {
        name: found
        for name, found in vars(module).items()
        if isinstance(found, type) and issubclass(found, Component) and found is not Component
    }
    own = [n for n, found in classes.items() if found.__module__ == module.__name__ and n[0] != "_"]
    if class_name is None and len(own) == 1:
        class_name = own[0]
    if class_name not in classes:
        what = f"there is no component class {class_name}"
        if class_name is None:
            what = "which component class is meant?" if own else "there is no component class"
        raise SourceError(what, place=str(path), remedy=f"the file defines {', '.join(own) or 'none'}")
    with explained(path, f"{class_name}()"):
        return classes[class_name]()


def amaranth_rtlil(component: Component, folder: str | Path | None = None) -> str:
    """RTLIL text of a component, by Amaranth's own writer, with the ports of its signature.

    A clock domain that the component does not define gets ports (`clk` and `rst` for `sync`). Source places are
    given relative to `folder` where they lie in it, else by file name alone.
    Raises SourceError if the component cannot be elaborated.
    """
    from amaranth.back import rtlil

    name = type(component).__name__
    path = Path(getattr(sys.modules.get(type(component).__module__), "__file__", None) or name)
    with explained(path, f"{name}.elaborate()"):
        text = rtlil.convert(component, name=name)
    return _without_paths(text, Path(folder or path.parent).absolute())


def _load(path: Path) -> ModuleType:
    """Run a Python file as a module of its own; it can import the files beside it, which leave no trace."""
    if not path.is_file():
        raise SourceError("no such file", place=str(path), remedy="check the path")
    home = str(path.absolute().parent)
    name = f"forelight_source_{path.stem}_{hashlib.sha256(str(path.absolute()).encode()).hexdigest()[:8]}"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    before = set(sys.modules)
    littering, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    sys.modules[name] = module
    sys.path.insert(0, home)
    try:
        with explained(path, "the file"):
            spec.loader.exec_module(module)
    finally:
        if home in sys.path:
            sys.path.remove(home)
        sys.dont_write_bytecode = littering
        for other in set(sys.modules) - before - {name}:
            file = getattr(sys.modules[other], "__file__", None)
            if file and Path(file).parent == Path(home):
                del sys.modules[other]
    return module


@contextmanager
def explained(path: Path, doing: str) -> Iterator[None]:
    """An exception in someone's design becomes one line: file, line, words. What it prints is not our output."""
    try:
        with redirect_stdout(sys.stderr):
            yield
    except ForelightError as error:
        _forget(error)
        raise
    except (Exception, SystemExit) as error:
        _forget(error)
        folder = path.absolute().parent
        if isinstance(error, SyntaxError) and error.filename:
            place, words = f"{error.filename}:{error.lineno}", error.msg
        else:
            frames = [
                frame
                for frame in traceback.extract_tb(error.__traceback__)
                if Path(frame.filename).parent == folder
            ]
            place = f"{frames[-1].filename}:{frames[-1].lineno}" if frames else str(path)
            words = " ".join(str(error).split()).replace(f"{folder}{os.sep}", "")
        shown = place.replace(str(path.absolute()), str(path))
        said = f"{type(error).__name__}: {words}".removesuffix(": ")
        raise SourceError(f"{doing} fails: {said}", place=shown) from error


def _forget(error: BaseException) -> None:
    """Let go of what the failed design had made, in silence: Amaranth would warn that it was never used."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        traceback.clear_frames(error.__traceback__)
        gc.collect()


_SRC = re.compile(r'(attribute \\src ")([^"]*)(:\d+")')


def _without_paths(text: str, folder: Path) -> str:
    known: dict[str, str] = {}

    def shorten(match: re.Match[str]) -> str:
        written = match[2]
        if written not in known:
            place = Path(written.replace("\\\\", "\\"))
            known[written] = (
                place.relative_to(folder).as_posix() if place.is_relative_to(folder) else place.name
            )
        return f"{match[1]}{known[written]}{match[3]}"

    return _SRC.sub(shorten, text)
