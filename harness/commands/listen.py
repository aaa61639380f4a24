"""`forelight listen`: how an output should sound, as a WAV file."""

from __future__ import annotations

from pathlib import Path

from forelight.designs.procedures.procedure import to_text
from forelight.sim.errors import UsageError
from forelight.sim.files import write_whole
from forelight.sim.levels import UNKNOWN

from ..asking.question import Asked, Question, question
from ..attach.meter import measure
from ..attach.note import nearest
from ..attach.report import pitch
from ..attach.speaker import RATE, VOLUME, sound, to_wav
from ..attach.wiring import states, wired
from ..terminal.output import emit_json, emit_words
from ..view.pictures import since

CAUTION = (
    "Caution: start at low volume, above all with headphones, and turn it up slowly. At the bench no pin drives a "
    "loudspeaker or a line input directly: put an amplifier between, as the board's own documents say."
)


def run(asked: Asked, line: str | None, volume: float | None, output: Path, as_json: bool) -> int:
    if output.suffix != ".wav":
        raise UsageError(
            f"the ending '{output.suffix}' is not that of a sound", place=str(output), remedy="allowed: .wav"
        )
    asking = question(asked)
    line, loudness = _speaker(asking, line, volume)
    golden = since(asking.golden(), asking.start())
    trace = wired(golden, {"signal": line})
    samples = sound(trace, golden.oscillator_hz, loudness)
    write_whole(output, to_wav(samples))
    heard = measure(trace, golden.oscillator_hz)
    name, cents = nearest(heard.hz.most) if heard else (None, None)
    vague = UNKNOWN in states(trace, "signal")[1]
    if as_json:
        emit_json(
            {
                "file": str(output),
                "name": asking.sheet.name,
                "board": asking.board.name,
                "do": [to_text(action) for action in asking.procedure.actions],
                "line": line,
                "seconds": len(samples) / RATE,
                "samples_per_second": RATE,
                "volume": loudness,
                "highest_hz": heard.hz.most if heard else None,
                "note": name,
                "cents": cents,
                "any_unsettled": vague,
                "caution": CAUTION,
            }
        )
        return 0
    emit_words(CAUTION)
    emit_words(
        f"Wrote {output}: {len(samples) / RATE:.3f} s of {line}, {pitch(heard)}, from the moment at which the slot "
        "is up."
    )
    if heard:
        emit_words(
            f"The highest pitch, {heard.hz.most:.6g} Hz, is the note {name} {cents:+.1f} cents (A4 is 440 Hz)."
        )
    if vague:
        emit_words(f"{line} is unsettled at times; there the level before is held.")
    return 0


def _speaker(asking: Question, line: str | None, volume: float | None) -> tuple[str, float]:
    """The line as asked for, or that of the datasheet's speaker; and how loud."""
    speakers = [one for one in asking.sheet.attach if one.kind == "speaker"]
    if line is None and len(speakers) != 1:
        found = "names no speaker" if not speakers else f"names {len(speakers)} speakers"
        raise UsageError(
            f"the datasheet of {asking.sheet.name} {found}", remedy="say which line to listen to: --line o4"
        )
    chosen = next((one for one in speakers if line in (None, one.lines["signal"])), None)
    said = chosen.options.get("volume", VOLUME) if chosen else VOLUME
    return line or speakers[0].lines["signal"], float(said) if volume is None else volume
