"""The benchmark's circuits in Amaranth, C and two kinds of Verilog are the same circuits, on every engine.

The judge is `amaranth.sim` (Amaranth 0.5): every byte of 20,000 cycles (4,000 in the quick
run) with steady inputs, and of as many with random inputs and a few resets, which change while the clock is low.
"""

from __future__ import annotations

import random
from functools import cache
from itertools import pairwise

import pytest

from tests.sizes import sized

from .build import MAKERS, Maker, Workshop
from .circuits import CIRCUITS, Circuit
from .design import CLOCK_BIT, RESET_BIT
from .engines import AmaranthSim, Child, Forelight, Runner

CYCLES = sized(4_000, 20_000)
SEED = 20
CIRCUIT = pytest.mark.parametrize("circuit", CIRCUITS, ids=lambda circuit: circuit.name)
MAKER = pytest.mark.parametrize("maker", MAKERS, ids=lambda maker: maker.name)


@cache
def stimulus() -> bytes:
    """Two samples a cycle: inputs with the clock low, the same with the clock high; they last some eight cycles."""
    choice = random.Random(SEED)
    samples = bytearray()
    low = 0
    for _ in range(CYCLES):
        if choice.random() < 1 / 8:
            low = choice.getrandbits(6)
        if choice.random() < 1 / 2048:
            low |= 1 << RESET_BIT
        samples += bytes((low, low | 1 << CLOCK_BIT))
    return bytes(samples)


@cache
def expected(circuit: Circuit) -> tuple[bytes, bytes]:
    """What `amaranth.sim` says of the steady and of the random run."""
    return both_runs(AmaranthSim(circuit, stimulus()), AmaranthSim(circuit, stimulus()))


def both_runs(steady: Runner, varied: Runner) -> tuple[bytes, bytes]:
    steady.clocked(CYCLES, 1)
    varied.sampled(2 * CYCLES, 1)
    results = steady.outputs(), varied.outputs()
    steady.close()
    varied.close()
    return results


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    """Where the models are built, without optimisation: at full speed the benchmark itself compares them."""
    folder = tmp_path_factory.mktemp("models")
    workshop = Workshop(folder, flags=("-O0",))
    workshop.build(
        [maker for maker in MAKERS if maker.missing() is None], [circuit.name for circuit in CIRCUITS]
    )
    (folder / "stimulus").write_bytes(stimulus())
    return workshop


@pytest.mark.slow
@CIRCUIT
@MAKER
def test_model_equals_amaranth(workshop: Workshop, maker: Maker, circuit: Circuit) -> None:
    reason = maker.missing()
    if reason:
        pytest.skip(reason)
    print(f"seed {SEED}")
    workshop.model(maker, circuit.name)
    steady, varied = (Child(workshop, maker, circuit, workshop.folder / "stimulus") for _ in range(2))
    assert both_runs(steady, varied) == expected(circuit)


@CIRCUIT
def test_forelight_equals_amaranth(circuit: Circuit) -> None:
    print(f"seed {SEED}")
    steady, varied = (Forelight(circuit, stimulus()) for _ in range(2))
    assert both_runs(steady, varied) == expected(circuit)


@pytest.mark.slow
@CIRCUIT
def test_circuit_is_alive(circuit: Circuit) -> None:
    """Every output that is not a constant of the design moves, and so comparisons have something to compare."""
    _, varied = expected(circuit)
    moving = 0
    for before, after in pairwise(varied):
        moving |= before ^ after
    assert len(varied) == 2 * CYCLES
    assert moving == (0xF7 if circuit.name == "serial" else 0xFF)
