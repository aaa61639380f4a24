"""Session files of sigrok, made by hand."""

from __future__ import annotations

import io
import zipfile

META = "[global]\nsigrok version=0.5.2\n[device 1]\ncapturefile=logic-1\nprobe1=o0\nprobe2=o1\nunitsize=1\n"


def archive(files: dict[str, bytes] | None = None, *, samplerate: str = "", meta: str = META) -> bytes:
    """A session with these files of samples; without any, with one of four samples."""
    data = io.BytesIO()
    rate = f"samplerate={samplerate}\n" if samplerate else ""
    with zipfile.ZipFile(data, "w") as made:
        made.writestr("version", b"2")
        made.writestr("metadata", meta + rate)
        for name, content in (files or {"logic-1": b"\0\1\3\2"}).items():
            made.writestr(name, content)
    return data.getvalue()
