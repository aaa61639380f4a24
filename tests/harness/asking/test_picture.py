"""`forelight show -o`: a picture or a page that moves, and what holds it still."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from forelight.harness.asking.picture import scene
from forelight.harness.asking.preview import Preview, preview
from forelight.harness.asking.question import Asked, question
from forelight.harness.cli import cli
from forelight.harness.view.display import colour
from forelight.harness.view.motion import REST_S, UNLIT
from forelight.harness.view.scene import PLAYS, as_html

from tests.harness.browser import colours, evaluate, needs_browser

SVG = "{http://www.w3.org/2000/svg}"


def show(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(cli, ["show", *arguments])


def found(slot: str, seconds: float) -> Preview:
    return preview(question(Asked(slot, "quay", None, None, {}, None, None, seconds, 0, 8)))


def test_a_picture_has_the_display_the_words_and_the_levels(tmp_path: Path) -> None:
    file = tmp_path / "tide.svg"
    assert "Wrote" in show("tide_gauge", "-o", str(file)).output
    root = ET.fromstring(file.read_text("utf-8"))
    words = ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]
    assert {"Tide gauge", "slot 101 of quay; from harbour office"} <= set(words)
    assert {"To the eye: readable; each picture stays 0.491 s or longer.", "o7 the tide is rising"} <= set(
        words
    )
    lamps = [one for one in root.iter(f"{SVG}line") if "lamp" in one.get("class", "")]
    assert len(lamps) == 8
    assert not list(root.iter(f"{SVG}a")), "nothing is held, so nothing is to be started"
    assert "<script" not in file.read_text("utf-8")


def test_the_same_question_gives_the_same_bytes_whatever_the_terminal(tmp_path: Path) -> None:
    written = []
    for columns in ("40", "120"):
        file = tmp_path / f"{columns}.html"
        CliRunner(env={"COLUMNS": columns}).invoke(cli, ["show", "dice", "--seconds", "1", "-o", str(file)])
        written.append(file.read_bytes())
    assert written[0] == written[1]


def test_what_flashes_too_much_starts_only_on_request(tmp_path: Path) -> None:
    file = tmp_path / "weather.svg"
    said = show("weather_report", "--seconds", "3", "-o", str(file), "--motion").output
    assert "Held still. Caution: o0 flashes" in " ".join(said.split())
    root = ET.fromstring(file.read_text("utf-8"))
    links = [one.get("href") for one in root.iter(f"{SVG}a")]
    assert links == [f"#{PLAYS}", "#"]
    assert [one.get("class") for one in root.iter(f"{SVG}g") if one.get("id") == PLAYS] == ["held"]
    # Slow enough, it need not be held.
    show("weather_report", "--seconds", "3", "-o", str(file), "--speed", "0.02")
    assert "held" not in [one.get("class") for one in ET.fromstring(file.read_text("utf-8")).iter(f"{SVG}g")]


def test_still_on_request_and_in_json(tmp_path: Path) -> None:
    file = tmp_path / "tide.html"
    answer = json.loads(show("tide_gauge", "--still", "-o", str(file), "--json").output)
    assert answer["file"] == str(file)
    page = file.read_text("utf-8")
    assert "@keyframes" not in page
    assert "The restart settles the whole design, 1 step after it begins" in page


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("-o", "tide.png"), "not that of a picture"),
        (("-o", "tide.svg", "--seconds", "700"), "plays for 700 s would be too large"),
        (("-o", "tide.svg", "--why", "o3"), "give one of them"),
    ],
)
def test_refusals(
    options: tuple[str, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = show("tide_gauge", *options)
    assert result.exit_code == 2
    assert said in " ".join(result.output.split())
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
@needs_browser
def test_a_browser_plays_the_display_with_its_mark(tmp_path: Path) -> None:
    """Every lamp and the mark along the levels, as a browser computes them, against the plan of the terminal."""
    drawn = scene(found("tide_gauge", 5.0), 1.0, motion=True)
    moments = (0.2, 1.3, 4.7, drawn.lasts_s + REST_S / 2)
    seen = colours(as_html(drawn, ""), tmp_path, moments)
    for at in moments:
        lamps = [shot for when, shot in drawn.shots if when <= at][-1].lamps
        for line, lamp in enumerate(lamps):
            assert seen[f"lamp-{line}@{at}"] == (colour(lamp) if lamp else UNLIT)
    script = (
        "for(const one of document.getAnimations()){one.pause();one.currentTime=%s}"
        "out.x=new DOMMatrix(getComputedStyle(document.querySelector('.now')).transform).m41"
    )
    middle = evaluate(as_html(drawn, ""), tmp_path, script.replace("%s", str(drawn.lasts_s * 500)))
    assert middle["x"] == pytest.approx(510 / 2, abs=0.5)


@pytest.mark.slow
@needs_browser
def test_a_browser_holds_what_flashes_until_it_is_asked(tmp_path: Path) -> None:
    page = as_html(scene(found("weather_report", 3.0), 1.0, motion=True), "")
    script = (
        "const links=document.querySelectorAll('svg a');"
        "const one=getComputedStyle(document.querySelector('.lamp-0'));"
        "const wait=()=>new Promise(done=>setTimeout(done,100));"
        "const click=async(link)=>{link.dispatchEvent(new MouseEvent('click',{bubbles:true}));await wait();"
        "return one.animationPlayState};"
        "out.first=one.animationPlayState;out.then=await click(links[0]);out.last=await click(links[1]);"
        "out.name=one.animationName"
    )
    states = {"first": "paused", "then": "running", "last": "paused"}
    assert evaluate(page, tmp_path, script) == states | {"name": "lamp-0"}
    assert evaluate(page, tmp_path, script, "--force-prefers-reduced-motion")["name"] == "none"
