"""Encodes as much of RV32I as a small program needs, labels included.

Source: The RISC-V Instruction Set Manual, volume I, version 20191213, chapter 24 (instruction listings),
section 2.3 (immediate encodings).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

#: A line of a program: a label, or an instruction given its own address and the addresses of all labels.
Instruction = Callable[[int, Mapping[str, int]], int]
Line = str | Instruction

_ALU = {"add": 0, "sll": 1, "slt": 2, "sltu": 3, "xor": 4, "srl": 5, "or": 6, "and": 7, "sub": 0, "sra": 5}
_BRANCH = {"beq": 0, "bne": 1, "blt": 4, "bge": 5, "bltu": 6, "bgeu": 7}
_LOAD = {"lb": 0, "lh": 1, "lw": 2, "lbu": 4, "lhu": 5}
_STORE = {"sb": 0, "sh": 1, "sw": 2}


def assemble(program: Sequence[Line]) -> list[int]:
    """Words from address 0 on."""
    labels: dict[str, int] = {}
    code: list[Instruction] = []
    for line in program:
        if isinstance(line, str):
            labels[line] = 4 * len(code)
        else:
            code.append(line)
    return [instruction(4 * at, labels) & 0xFFFFFFFF for at, instruction in enumerate(code)]


def alu(name: str, rd: int, rs1: int, rs2: int) -> Instruction:
    """Register and register."""
    other = 0x20 if name in ("sub", "sra") else 0
    return lambda _at, _labels: _r(other, rs2, rs1, _ALU[name], rd, 0x33)


def alui(name: str, rd: int, rs1: int, value: int) -> Instruction:
    """Register and a signed constant of 12 bits (a distance of 0 to 31 for shifts)."""
    assert -2048 <= value < 2048
    if name in ("sll", "srl", "sra"):
        value |= 0x400 if name == "sra" else 0
    return lambda _at, _labels: _i(value, rs1, _ALU[name], rd, 0x13)


def li(rd: int, value: int) -> list[Line]:
    """Any constant, in two instructions: the upper 20 bits, then the signed lower 12."""
    low = (value & 0xFFF) - (0x1000 if value & 0x800 else 0)
    high = (value - low) >> 12 & 0xFFFFF
    return [lambda _at, _labels: high << 12 | rd << 7 | 0x37, alui("add", rd, rd, low)]


def branch(name: str, rs1: int, rs2: int, label: str) -> Instruction:
    def encode(at: int, labels: Mapping[str, int]) -> int:
        far = labels[label] - at
        high = (far >> 12 & 1) << 6 | far >> 5 & 0x3F
        low = (far >> 1 & 0xF) << 1 | far >> 11 & 1
        return _r(high, rs2, rs1, _BRANCH[name], low, 0x63)

    return encode


def jal(rd: int, label: str) -> Instruction:
    def encode(at: int, labels: Mapping[str, int]) -> int:
        far = labels[label] - at
        field = (far >> 20 & 1) << 19 | (far >> 1 & 0x3FF) << 9 | (far >> 11 & 1) << 8 | far >> 12 & 0xFF
        return field << 12 | rd << 7 | 0x6F

    return encode


def jalr(rd: int, rs1: int, value: int) -> Instruction:
    return lambda _at, _labels: _i(value, rs1, 0, rd, 0x67)


def load(name: str, rd: int, value: int, rs1: int) -> Instruction:
    return lambda _at, _labels: _i(value, rs1, _LOAD[name], rd, 0x03)


def store(name: str, rs2: int, value: int, rs1: int) -> Instruction:
    return lambda _at, _labels: _r(value >> 5 & 0x7F, rs2, rs1, _STORE[name], value & 0x1F, 0x23)


def csrw(csr: int, rs1: int) -> Instruction:
    return lambda _at, _labels: _i(csr, rs1, 1, 0, 0x73)


def mret() -> Instruction:
    """Back from an interrupt; the word is from memory."""
    return lambda _at, _labels: 0x30200073


def _r(funct7: int, rs2: int, rs1: int, funct3: int, rd: int, opcode: int) -> int:
    return funct7 << 25 | rs2 << 20 | rs1 << 15 | funct3 << 12 | rd << 7 | opcode


def _i(value: int, rs1: int, funct3: int, rd: int, opcode: int) -> int:
    return (value & 0xFFF) << 20 | rs1 << 15 | funct3 << 12 | rd << 7 | opcode
