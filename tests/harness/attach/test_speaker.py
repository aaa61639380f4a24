"""The sound of a line against Fourier's series of the square wave and scipy's spectra: pitch, levels, no aliases."""

from __future__ import annotations

import io
import random
import wave
from typing import Any

import numpy as np
import pytest
from forelight.harness.attach.speaker import LOWEST_HZ, RATE, sound, to_wav
from forelight.sim.errors import UsageError
from forelight.sim.traces.trace import Trace
from numpy.typing import NDArray
from scipy import signal
from scipy.io import wavfile

from .lines import trace

HZ = 18_432_000
#: A clock so fine that the rounding of edges to its ticks is not heard.
FINE = 10**12
Array = NDArray[Any]


def square(hz: float, seconds: float, duty: float = 0.5, clock: int = FINE) -> Trace:
    """A square wave whose edges lie at the nearest ticks."""
    rises = np.arange(0, seconds, 1 / hz)[1:]
    times = np.round(np.sort(np.concatenate((rises, rises + duty / hz))) * clock).astype(np.int64)
    times = times[times < seconds * clock]
    levels = np.arange(len(times)) % 2 == 0
    times = np.concatenate(([0], times))
    return Trace(
        times,
        {"signal": np.concatenate(([0], levels)).astype(np.uint64)},
        {"signal": 1},
        int(seconds * clock),
    )


def spectrum(samples: Array) -> tuple[Array, Array]:
    """Frequencies, and amplitudes in dB against the strongest, through a window with side lobes below -110 dB."""
    window = signal.windows.kaiser(len(samples), 16)
    found = np.abs(np.fft.rfft(samples * window))
    return np.fft.rfftfreq(len(samples), 1 / RATE), 20 * np.log10(found / found.max() + 1e-12)


@pytest.mark.parametrize("hz", [375.0, 440.0, 1234.5, 2999.0, 7001.0, 11025.7])
def test_nothing_but_harmonics_is_heard(hz: float) -> None:
    frequencies, levels = spectrum(sound(square(hz, 4), FINE)[2 * RATE :])
    distance = np.abs(frequencies / hz - np.round(frequencies / hz)) * hz
    between = (distance > 8) & (frequencies > LOWEST_HZ)
    assert between.sum() > 1000
    assert levels[between].max() < -70  # aliases of a plain sampled square lie near -30 dB


def test_a_plain_sampled_square_would_fail_that_test() -> None:
    """The test above can fail: samples of the levels themselves alias."""
    times = np.arange(4 * RATE) / RATE
    frequencies, levels = spectrum(((times * 2999.0) % 1 < 0.5)[2 * RATE :] - 0.5)
    distance = np.abs(frequencies / 2999 - np.round(frequencies / 2999)) * 2999
    assert levels[(distance > 8) & (frequencies > LOWEST_HZ)].max() > -50


@pytest.mark.parametrize(("hz", "duty"), [(440.0, 0.5), (375.0, 0.25), (1000.0, 1 / 15)])
def test_the_harmonics_are_those_of_fouriers_series(hz: float, duty: float) -> None:
    # A pulse train of duty d: harmonic n has the amplitude 2 sin(pi n d) / (pi n) (any table of Fourier series).
    samples = sound(square(hz, 3, duty), FINE)[RATE : 3 * RATE]
    frequencies, levels = spectrum(samples)
    order = np.arange(1, int(18_000 / hz))
    expected = np.abs(np.sin(np.pi * order * duty) / order)
    expected = 20 * np.log10(expected / expected.max() + 1e-12)
    leak = 10 * np.log10(1 / (1 + (LOWEST_HZ / (order * hz)) ** 2))  # the coupling capacitor
    for number, wanted in zip(order, expected + leak, strict=True):
        found = levels[np.abs(frequencies - number * hz) < 3].max()
        if wanted > -60:
            assert found == pytest.approx(wanted, abs=0.2), number


def test_the_pitch_is_right() -> None:
    # A4 is 440 Hz (ISO 16).
    samples = sound(square(440.0, 6), FINE)[RATE:]
    phase = np.unwrap(
        np.angle(
            signal.hilbert(
                signal.sosfiltfilt(signal.butter(4, [300, 600], "band", fs=RATE, output="sos"), samples)
            )
        )
    )
    middle = slice(RATE, 4 * RATE)
    found = np.polyfit(np.arange(len(phase))[middle] / RATE, phase[middle], 1)[0] / (2 * np.pi)
    assert found == pytest.approx(440.0, abs=1e-3)


def test_no_sample_is_louder_than_asked_whatever_the_line_does() -> None:
    seed = 7
    chance = random.Random(seed)
    print(f"seed {seed}")
    for volume in (0.5, 0.2, 0.01):
        times = sorted(chance.sample(range(1, 1_000_000), 60_000))
        rows = [(0, 0), *((time, place % 2) for place, time in enumerate(times, 1))]
        samples = sound(trace({"signal": rows}, 1_000_000), 2_000_000, volume)
        assert np.abs(samples).max() <= volume + 1e-12


def test_direct_current_is_taken_out() -> None:
    samples = sound(trace({"signal": [(0, 0), (HZ // 10, 1)]}, HZ), HZ)
    assert samples[RATE // 10 - 64 :].max() > 0.15  # the step itself is heard
    assert np.abs(samples[RATE // 2 :]).max() < 1e-6
    steady = sound(square(1000.0, 4, 0.9), FINE)[2 * RATE :]
    assert abs(steady.mean()) < 1e-5


@pytest.mark.parametrize("rows", [[(0, 0)], [(0, 1)], [(0, 2)]])
def test_a_line_that_does_not_move_is_silent(rows: list[tuple[int, int]]) -> None:
    samples = sound(trace({"signal": rows}, HZ), HZ)
    assert len(samples) == RATE and not samples.any()


def test_what_is_unsettled_is_not_heard() -> None:
    rows = [(0, 0), (1000, 2), (2000, 0), (3000, 2), (9000, 0)]
    assert not sound(trace({"signal": rows}, HZ), HZ).any()


def test_the_file_is_a_wav_that_others_read() -> None:
    samples = sound(square(440.0, 0.5), FINE, 0.5)
    data = to_wav(samples)
    rate, read = wavfile.read(io.BytesIO(data))
    assert (rate, read.dtype, read.shape) == (RATE, np.int16, (RATE // 2,))
    assert np.abs(read / 32767 - samples).max() <= 0.5001 / 32767
    with wave.open(io.BytesIO(data)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
    assert data == to_wav(samples)


def test_a_sound_without_end_is_refused() -> None:
    with pytest.raises(UsageError, match="at most 600 s"):
        sound(trace({"signal": [(0, 0)]}, 601 * HZ), HZ)
