"""`forelight listen`: the file that it writes, the caution that it prints, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from forelight.harness.cli import cli
from scipy.io import wavfile


def listen(*words: str) -> Result:
    return CliRunner().invoke(cli, ["listen", *words])


def test_the_ferry_whistle_is_heard_at_its_pitch(tmp_path: Path) -> None:
    file = tmp_path / "whistle.wav"
    found = listen("ferry_whistle", "-o", str(file), "--seconds", "2")
    assert found.exit_code == 0, found.output
    words = " ".join(found.output.split())
    assert words.startswith("Caution: start at low volume")
    assert "s of o4, up to 375 Hz, from the moment" in words
    assert "The highest pitch, 375 Hz, is the note F#4 +23.3 cents (A4 is 440 Hz)." in words
    rate, samples = wavfile.read(file)
    assert rate == 48_000
    assert len(samples) == pytest.approx(96_000, abs=100)
    assert np.abs(samples).max() <= 0.2 * 32767
    heard = np.abs(np.fft.rfft(samples[4000:] * np.hanning(len(samples) - 4000)))
    peak = np.fft.rfftfreq(len(samples) - 4000, 1 / rate)[heard.argmax()]
    assert peak == pytest.approx(375, abs=0.6)


def test_the_answer_for_scripts(tmp_path: Path) -> None:
    file = tmp_path / "lamp.wav"
    found = listen(
        "ferry_whistle", "--line", "o7", "-o", str(file), "--seconds", "1", "--volume", "0.01", "--json"
    )
    answer = json.loads(found.output)
    assert (answer["line"], answer["volume"], answer["any_unsettled"]) == ("o7", 0.01, False)
    assert answer["caution"].startswith("Caution")
    assert np.abs(wavfile.read(file)[1]).max() <= 0.01 * 32767 + 1


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("lighthouse", "-o", "x.wav"), "names no speaker; say which line to listen to: --line o4"),
        (("ferry_whistle", "-o", "x.mp3"), "x.mp3: the ending '.mp3' is not that of a sound; allowed: .wav"),
        (("ferry_whistle", "-o", "x.wav", "--volume", "0.6"), "0.6 is not in the range"),
        (("ferry_whistle", "-o", "x.wav", "--seconds", "700"), "the sound lasts 700 s"),
        (("ferry_whistle", "-o", "no/such/x.wav", "--seconds", "1"), "cannot write the file"),
    ],
)
def test_mistakes_are_named_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], message: str
) -> None:
    monkeypatch.chdir(tmp_path)
    found = listen(*words)
    assert found.exit_code == 2
    assert message in " ".join(found.output.split())
    assert not list(tmp_path.iterdir())
