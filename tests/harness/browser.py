"""A browser without a window, asked what it makes of a page."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Sequence
from html import unescape
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not here")
LONGEST_S = 60


def evaluate(html: str, folder: Path, script: str, *flags: str) -> Any:
    """What a script, which may wait, leaves in `out` after it has run in this page."""
    page = folder / "asked.html"
    script = f"onload=async()=>{{const out={{}};{script};document.body.innerText=JSON.stringify(out)}}"
    page.write_text(html.replace("</body>", f"<script>{script}</script></body>"), "utf-8")
    flags = ("--headless", "--no-sandbox", "--disable-gpu", "--virtual-time-budget=3000", *flags)
    order = [str(CHROMIUM), *flags, "--dump-dom", page.as_uri()]
    dom = subprocess.run(order, check=True, capture_output=True, timeout=LONGEST_S, text=True).stdout
    body = re.search(r"<body>(.*?)</body>", dom, re.DOTALL)
    assert body is not None, dom[:200]
    return json.loads(unescape(body.group(1)))


def colours(html: str, folder: Path, seconds: Sequence[float]) -> dict[str, str]:
    """The colour of each lamp at these seconds, as `name@second` and `#rrggbb`."""
    script = (
        f"for(const at of {list(seconds)}){{"
        "for(const one of document.getAnimations()){one.pause();one.currentTime=at*1000+1}"
        "for(const lamp of document.querySelectorAll('.lamp'))"
        "out[lamp.classList[1]+'@'+at]=getComputedStyle(lamp).stroke}"
    )
    found: dict[str, str] = evaluate(html, folder, script)
    return {
        name: "#" + "".join(f"{int(part):02x}" for part in re.findall(r"\d+", colour))
        for name, colour in found.items()
    }
