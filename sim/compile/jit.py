"""LLVM text to machine code; the only importer of llvmlite."""

from __future__ import annotations

import ctypes
import re
from functools import cache, lru_cache
from itertools import count

import llvmlite.binding as llvm

from ..disk_cache import DiskCache, key
from .sweep import SWEEP
from .text import PIECE, in_pieces

#: Compiled code, keyed by its LLVM text (which is the content and the engine in one), LLVM and processor.
CACHE = DiskCache(".code", 64 * 2**20)

#: Machine words handled between two labels beyond which machine code is made without optimisation, in time linear
#: in them: LLVM's scheduler and register allocator take time that grows with the square of a block.
LONGEST = 20_000
#: Machine words between two labels beyond which LLVM does not look whether a loop makes vectors: that takes time which
#: grows with the square of the loop.
LONGEST_VECTORS = 1000
#: Loops of sweeps in a text that go through LLVM's passes on loops, whose time grows with the square of their number.
FEW_SWEEPS = 4
#: Loops of sweeps beyond which machine code is made without optimisation.
MANY_SWEEPS = 500
#: The first integer type of a line.
_WIDTH = re.compile(r"\bi(\d+)\b")


class Code:
    """Machine code of one function that takes pointers and counts as 64-bit integers."""

    def __init__(self, address: int, arguments: int, keep: object) -> None:
        self.call = ctypes.CFUNCTYPE(None, *[ctypes.c_uint64] * arguments)(address)
        # The code lies at its address while `keep` lives: also for one who holds nothing but the function.
        self.call.keep = keep  # type: ignore[attr-defined]


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
        machine = _machine(generator_level(text, level))
        options = llvm.create_pipeline_tuning_options(speed_level=level)
        if longest_block(text) > LONGEST_VECTORS:
            options.loop_vectorization = options.slp_vectorization = False
        builder = llvm.create_pass_builder(machine, options)
        if text.count(SWEEP) > FEW_SWEEPS:
            passes = llvm.create_new_function_pass_manager()
            passes.add_instruction_combine_pass()
            passes.add_simplify_cfg_pass()
            for function in module.functions:
                if not function.is_declaration:
                    passes.run(function, builder)
        else:
            builder.getModulePassManager().run(module, builder)
    return module


@cache
def _linker() -> llvm.LLJIT:
    """What links machine code that is there already, so that the level of its machine is of no account."""
    return llvm.create_lljit_compiler(_machine(1))


@cache
def _maker() -> tuple[str, ...]:
    """What else machine code depends on: LLVM, and the processor."""
    features = llvm.get_host_cpu_features().flatten()
    version = ".".join(map(str, llvm.llvm_version_info))
    return version, llvm.get_process_triple(), llvm.get_host_cpu_name(), features


def generator_level(text: str, level: int) -> int:
    """The level at which machine code is made: 0 where blocks are long, or loops many, and more would take minutes."""
    return 0 if longest_block(text) > LONGEST or text.count(SWEEP) > MANY_SWEEPS else level


@lru_cache(maxsize=1)  # one text is asked about several times on its way
def longest_block(text: str) -> int:
    """The machine words that the longest block of a text handles."""
    longest = here = 0
    for line in text.splitlines():
        if line.endswith(":"):
            here = 0
            continue
        width = _WIDTH.search(line)
        here += -(-int(width[1]) // 64) if width else 1
        longest = max(longest, here)
    return longest


def _ready(text: str, level: int, generated: int) -> llvm.ModuleRef:
    """The module of a text, after the passes of a level, as the generator of another level takes it best."""
    if generated or longest_block(text) <= PIECE:
        return optimised(text, level)
    return llvm.parse_assembly(in_pieces(str(optimised(text, level)) if level else text))


_numbers = count()


def compile_text(text: str, function: str, level: int = 3, *, passes: bool = True) -> Code:
    """Compile a module's text, or find it compiled on disk, and return its function of that name.

    Without `passes` the level is that of the code alone, and the text is taken as it is.
    """
    entry = key((text, f"{level} {passes}", *_maker()))
    image = CACHE.load(entry)
    if image is None:
        generated = generator_level(text, level)
        image = _machine(generated).emit_object(_ready(text, level if passes else 0, generated))
        CACHE.store(entry, image)
    library = llvm.JITLibraryBuilder().add_object_img(image).export_symbol(function)
    # Each library in the process-wide linker needs a name of its own.
    tracker = library.link(_linker(), f"forelight{next(_numbers)}")
    arguments = text.split(f"@{function}(", 1)[1].split(")", 1)[0].count("%")
    return Code(tracker[function], arguments, tracker)
