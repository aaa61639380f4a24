"""LLVM text to machine code; the only importer of LLVM."""

from __future__ import annotations

from functools import cache
from itertools import count

import llvmlite.binding as llvm

from .blocks import SWEEP, longest_block
from .pieces import PIECE, in_pieces

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


def generator_level(text: str, level: int) -> int:
    """The level at which machine code is made: 0 where blocks are long, or loops many, and more would take minutes."""
    return 0 if longest_block(text) > LONGEST or text.count(SWEEP) > MANY_SWEEPS else level


def _ready(text: str, level: int, generated: int) -> llvm.ModuleRef:
    """The module of a text, after the passes of a level, as the generator of another level takes it best."""
    if generated or longest_block(text) <= PIECE:
        return optimised(text, level)
    return llvm.parse_assembly(in_pieces(str(optimised(text, level)) if level else text))


def object_file(text: str, level: int, *, passes: bool) -> bytes:
    """The object file of a text; without `passes` the level is that of the code alone."""
    generated = generator_level(text, level)
    found: bytes = _machine(generated).emit_object(_ready(text, level if passes else 0, generated))
    return found


_numbers = count()


def linked(image: bytes, function: str) -> tuple[int, object]:
    """The address of a function in an object file, and what keeps the code there."""
    library = llvm.JITLibraryBuilder().add_object_img(image).export_symbol(function)
    # Each library in the process-wide linker needs a name of its own.
    tracker = library.link(_linker(), f"forelight{next(_numbers)}")
    return tracker[function], tracker


def processor() -> str:
    """The processor that code is made for, as LLVM names it."""
    features = llvm.get_host_cpu_features().flatten()
    return f"{llvm.get_process_triple()} {llvm.get_host_cpu_name()} {features}"
