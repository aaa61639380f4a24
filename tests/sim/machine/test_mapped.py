"""Machine code that is mapped: the same function as LLVM links, closed to writing, left to LLVM where need be."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from pathlib import Path

import pytest
from forelight.sim.machine import code, jit
from forelight.sim.machine.code import Code, compile_text
from forelight.sim.machine.mapped import mapped
from llvmlite.binding import ObjectFileRef

SELF = Path("/proc/self/maps")
pytestmark = pytest.mark.skipif(
    not (SELF.exists() and os.uname().machine == "x86_64"),
    reason="elsewhere LLVM links all code",
)

#: Each of a vector of constants, a table of jumps, and code alone. `f(data, n)` changes eight machine words.
CONSTANTS = """\
define void @f(ptr %data, i64 %n) {
  %v = load <8 x i64>, ptr %data, align 8
  %w = mul <8 x i64> %v, <i64 3, i64 5, i64 7, i64 11, i64 13, i64 17, i64 19, i64 23>
  store <8 x i64> %w, ptr %data, align 8
  ret void
}
"""
ARMS = 9
JUMPS = "\n".join(
    [
        "define void @f(ptr %data, i64 %n) {",
        "  %v = load i64, ptr %data, align 8",
        f"  switch i64 %n, label %exit [{' '.join(f'i64 {k}, label %a{k}' for k in range(ARMS))}]",
        *(
            f'a{k}:\n  call void asm sideeffect "", ""()\n  %w{k} = {what} i64 %v, {k + 3}\n'
            f"  store i64 %w{k}, ptr %data, align 8\n  br label %exit"
            for k, what in zip(
                range(ARMS), ("add", "mul", "xor", "sub", "or", "and", "shl", "lshr", "add"), strict=True
            )
        ),
        "exit:",
        "  ret void",
        "}",
    ]
)
PLAIN = """\
define void @f(ptr %data, i64 %n) {
  store i64 %n, ptr %data, align 8
  ret void
}
define void @g(ptr %data, i64 %n) {
  call void @f(ptr %data, i64 5)
  ret void
}
"""
#: What is not mapped: a name from outside, and data that are changed.
OUTSIDE = """\
declare void @llvm.memset.p0.i64(ptr, i8, i64, i1)
define void @f(ptr %data, i64 %n) {
  call void @llvm.memset.p0.i64(ptr %data, i8 7, i64 %n, i1 false)
  ret void
}
"""
CHANGED = """\
@count = global i64 5
define void @f(ptr %data, i64 %n) {
  %v = load i64, ptr @count, align 8
  %w = add i64 %v, %n
  store i64 %w, ptr @count, align 8
  store i64 %w, ptr %data, align 8
  ret void
}
"""


def result(found: tuple[int, object] | None, n: int) -> list[int]:
    assert found is not None
    data = (ctypes.c_uint64 * 8)(*range(100, 108))
    Code(found[0], 2, found[1]).call(ctypes.addressof(data), n)
    return list(data)


def changes(image: bytes) -> bytes:
    """The entries of 24 bytes that say what is put in place of the code, as LLVM reads them."""
    sections = ObjectFileRef.from_data(image).sections()
    return next((one.data() for one in sections if one.name() == b".rela.ltext"), b"")


@pytest.mark.parametrize("level", [0, 1, 3])
@pytest.mark.parametrize("text", [CONSTANTS, JUMPS, PLAIN], ids=["constants", "jumps", "plain"])
def test_the_same_function_as_llvm_links(text: str, level: int) -> None:
    image = jit.object_file(text, level, passes=True)
    for n in range(ARMS + 2):
        assert result(mapped(image, "f"), n) == result(jit.linked(image, "f"), n)
    assert changes(image) or text is PLAIN, "nothing is put in place"


def test_a_function_of_several_is_found_by_its_name() -> None:
    image = jit.object_file(PLAIN, 0, passes=True)
    assert result(mapped(image, "g"), 3)[0] == 5
    assert result(mapped(image, "f"), 3)[0] == 3
    assert mapped(image, "h") is None


@pytest.mark.parametrize("text", [OUTSIDE, CHANGED], ids=["outside", "changed"])
def test_what_needs_a_linker_is_left_to_it(text: str) -> None:
    image = jit.object_file(text, 1, passes=True)
    assert mapped(image, "f") is None
    data = (ctypes.c_uint64 * 8)()
    compile_text(text, "f", 1).call(ctypes.addressof(data), 2)
    assert data[0] == (0x0707 if text is OUTSIDE else 7)


def test_objects_of_other_kinds_are_left_to_a_linker() -> None:
    image = jit.object_file(CONSTANTS, 1, passes=True)
    assert mapped(image, "f") is not None
    # No ELF, 32 bits, highest byte first, a program, ARM.
    for at, other in ((0, 0), (4, 1), (5, 2), (16, 3), (18, 183)):
        assert mapped(image[:at] + bytes([other]) + image[at + 1 :], "f") is None
    entry = changes(image)[:24]
    assert entry[8] == 1  # R_X86_64_64, where R_X86_64_PC64 is 24
    assert mapped(image.replace(entry, entry[:8] + b"\x18" + entry[9:]), "f") is None


def test_code_can_be_carried_out_and_not_be_changed() -> None:
    found = mapped(jit.object_file(CONSTANTS, 1, passes=True), "f")
    assert found is not None

    def rights() -> list[str]:
        held = (line.split()[:2] for line in SELF.read_text().splitlines())
        return [
            how
            for where, how in held
            if int(where.split("-")[0], 16) <= found[0] < int(where.split("-")[1], 16)
        ]

    assert rights() == ["r-xp"]


def test_kept_code_runs_without_llvm(tmp_path: Path) -> None:
    program = (
        "import ctypes, sys\n"
        "from forelight.sim.machine.code import compile_text\n"
        f"data = (ctypes.c_uint64 * 8)(*range(8))\n"
        f"compile_text({CONSTANTS!r}, 'f').call(ctypes.addressof(data), 0)\n"
        "print(list(data), 'llvmlite.binding' in sys.modules)\n"
    )
    environment = {**os.environ, "FORELIGHT_CACHE": str(tmp_path)}
    said = [
        subprocess.run(
            [sys.executable, "-c", program], env=environment, capture_output=True, text=True, check=True
        )
        for _ in range(2)
    ]
    product = [k * by for k, by in enumerate((3, 5, 7, 11, 13, 17, 19, 23))]
    assert [one.stdout for one in said] == [f"{product} True\n", f"{product} False\n"]


def test_a_processor_is_told_by_its_kind_or_by_llvm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kind = "vendor_id\t: A\ncpu family\t: 6\nmodel\t\t: 7\n{}stepping\t: 2\nflags\t\t: fpu avx2\n"
    told = kind.format("model name\t: A at 2 GHz\ncpu MHz\t\t: 2300.000\n")
    listed = tmp_path / "processors"
    monkeypatch.setattr(code, "PROCESSORS", listed)
    assert code.processor() == jit.processor()
    listed.write_text(f"processor\t: 0\n{told}\nprocessor\t: 1\n{told}")
    assert code.processor() == kind.format("").rstrip()
    listed.write_text(told.replace("flags", "Features"))
    assert code.processor() == jit.processor()
