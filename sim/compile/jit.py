"""LLVM text to machine code; the only importer of llvmlite."""

from __future__ import annotations

import ctypes
from functools import cache

import llvmlite.binding as llvm


class Code:
    """Machine code of one function that takes pointers and counts as 64-bit integers."""

    def __init__(self, address: int, arguments: int, keep: object) -> None:
        self._keep = keep  # the code lies at its address while this lives
        self.call = ctypes.CFUNCTYPE(None, *[ctypes.c_uint64] * arguments)(address)


@cache
def _machine(level: int) -> llvm.TargetMachine:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    target = llvm.Target.from_default_triple()
    features = llvm.get_host_cpu_features().flatten()
    return target.create_target_machine(cpu=llvm.get_host_cpu_name(), features=features, opt=level, jit=True)


def optimised(text: str, level: int) -> llvm.ModuleRef:
    """The LLVM module of a text after the passes of a level 0 to 3."""
    module = llvm.parse_assembly(text)
    if level:
        machine = _machine(level)
        builder = llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options(speed_level=level))
        builder.getModulePassManager().run(module, builder)
    return module


@cache
def _linker(level: int) -> llvm.LLJIT:
    return llvm.create_lljit_compiler(_machine(level))


_number = 0


def compile_text(text: str, function: str, level: int = 3) -> Code:
    """Compile a module's text and return its function of that name."""
    global _number  # noqa: PLW0603 - each library in the process-wide linker needs a name of its own
    _number += 1
    machine = _machine(level)
    image = machine.emit_object(optimised(text, level))
    library = llvm.JITLibraryBuilder().add_object_img(image).export_symbol(function)
    tracker = library.link(_linker(level), f"forelight{_number}")
    arguments = text.split(f"@{function}(", 1)[1].split(")", 1)[0].count("%")
    return Code(tracker[function], arguments, tracker)
