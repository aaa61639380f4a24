"""Runs one circuit on any of the engines behind one face: in blocks, the outputs of the last one kept."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from amaranth.sim import Simulator
from forelight.sim import Simulation
from forelight.sim.rtlil.reader import parse

from .build import Maker, Workshop
from .circuits import Circuit
from .design import CLOCK_BIT, OnPins, rtlil

#: Values in a block, one byte each: the size of the reused buffer.
BLOCK = 1 << 18


class Runner(Protocol):
    """A circuit in an engine, powered up with the clock low; every run goes on from the one before.

    Seconds are of processor time, all threads together: other work on the machine then matters little.
    """

    def power_up(self) -> None:
        """Begin anew."""

    def clocked(self, size: int, blocks: int) -> float:
        """Run `blocks` times `size` cycles with the circuit's steady inputs; seconds."""

    def sampled(self, size: int, blocks: int) -> float:
        """Play the first `size` bytes of the stimulus `blocks` times; seconds."""

    def outputs(self) -> bytes:
        """The outputs of the last block, a byte for each cycle or sample."""

    def close(self) -> None:
        """End it."""


class Forelight:
    """This project's engine, through its public face; the circuit's clock and reset are bits of its inputs."""

    def __init__(self, circuit: Circuit, samples: bytes = b"") -> None:
        self._simulation = Simulation(parse(rtlil(OnPins(circuit.design()))))
        self._steady = circuit.steady
        self._samples = np.frombuffer(samples, np.uint8)
        self._last: Any = None
        self.power_up()

    def power_up(self) -> None:
        self._simulation.power_cycle("init")
        self._simulation.set("inputs", self._steady)
        self._simulation.settle()

    def clocked(self, size: int, blocks: int) -> float:
        start = time.process_time()
        stream = self._simulation.stream_clock(
            "inputs", bit=CLOCK_BIT, cycles=size * blocks, observe="outputs"
        )
        for block in stream:
            self._last = block
        took = time.process_time() - start
        # A long run makes the engine look for faster code in the background. That ends here, out of the measurement:
        # on the one core it would only compete with the next run.
        for thread in threading.enumerate():
            if thread is not threading.current_thread():
                thread.join()
        return took

    def sampled(self, size: int, blocks: int) -> float:
        samples = self._samples[:size]
        start = time.process_time()
        for _ in range(blocks):
            self._last = self._simulation.run_samples("inputs", samples, observe="outputs")
        return time.process_time() - start

    def outputs(self) -> bytes:
        return bytes(self._last)

    def close(self) -> None:
        pass


class AmaranthSim:
    """Amaranth's own simulator, on the bare design with a clock that the simulator makes."""

    def __init__(self, circuit: Circuit, samples: bytes = b"") -> None:
        self._circuit = circuit
        self._samples = samples
        self.power_up()

    def power_up(self) -> None:
        self._recorded = bytearray()
        self._done = 0
        self.__dict__.pop("_running", None)

    @cached_property
    def _running(self) -> Simulator:
        design = self._circuit.design()
        simulator = Simulator(design)
        simulator.add_clock(1e-6)

        async def record(context: Any) -> None:
            context.set(design.inputs, self._circuit.steady)
            while True:
                await context.tick()
                self._recorded.append(context.get(design.outputs))

        simulator.add_testbench(record, background=True)
        return simulator

    def clocked(self, size: int, blocks: int) -> float:
        simulator = self._running
        start = time.process_time()
        for _ in range(blocks):
            self._recorded.clear()
            self._done += size
            # Rises come at half microseconds; stop between one and its fall, so that rounding cannot matter.
            simulator.run_until((self._done - 0.25) * 1e-6)
        return time.process_time() - start

    def sampled(self, size: int, blocks: int) -> float:
        """On the design with its clock on the pins, always from power-up."""
        start = time.process_time()
        for _ in range(blocks):
            design = OnPins(self._circuit.design())
            self._recorded.clear()

            async def play(context: Any, design: OnPins = design) -> None:
                for sample in self._samples[:size]:
                    context.set(design.inputs, sample)
                    self._recorded.append(context.get(design.outputs))

            simulator = Simulator(design)
            simulator.add_testbench(play)
            simulator.run()
        return time.process_time() - start

    def outputs(self) -> bytes:
        return bytes(self._recorded)

    def close(self) -> None:
        pass


class Child:
    """A model in a process of its own, which answers the commands that `around/main.c` describes."""

    def __init__(
        self, workshop: Workshop, maker: Maker, circuit: Circuit, stimulus: Path | None = None
    ) -> None:
        self._steady = circuit.steady
        self._command = workshop.command(maker, circuit.name, stimulus)
        self._process = self._start()

    def _start(self) -> subprocess.Popen[str]:
        return subprocess.Popen(self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def power_up(self) -> None:
        self.close()
        self._process = self._start()

    def clocked(self, size: int, blocks: int) -> float:
        return self._timed(f"clocked {self._steady} {size} {blocks}")

    def sampled(self, size: int, blocks: int) -> float:
        return self._timed(f"sampled {size} {blocks}")

    def outputs(self) -> bytes:
        return bytes.fromhex(self._ask("outputs"))

    def close(self) -> None:
        assert self._process.stdin and self._process.stdout
        self._process.stdin.close()
        self._process.wait()
        self._process.stdout.close()

    def _timed(self, command: str) -> float:
        start = self._seconds()
        self._ask(command)
        return self._seconds() - start

    def _seconds(self) -> float:
        """The child's processor time."""
        if sys.platform == "linux":
            # What clock_getcpuclockid(3) makes of a process, which Python does not offer.
            return time.clock_gettime(~self._process.pid << 3 | 2)
        return time.perf_counter()

    def _ask(self, command: str) -> str:
        assert self._process.stdin and self._process.stdout
        self._process.stdin.write(f"{command}\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        if not answer:
            raise RuntimeError(f"{self._process.args!r} gave no answer to {command!r}")
        return answer
