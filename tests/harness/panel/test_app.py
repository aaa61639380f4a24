"""The panel on a screen, driven by keys and mouse as a person does."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from forelight.designs.procedures.procedure import Seconds, load_toml, to_text
from forelight.harness.panel.app import Panel
from forelight.harness.panel.session import Session
from textual.events import Key
from textual.widgets import Input, Static

from .sessions import session_on

Steps = Callable[[Panel, Any], Awaitable[None]]


def on_screen(session: Session, steps: Steps, size: tuple[int, int] = (80, 24)) -> Panel:
    async def run() -> Panel:
        panel = Panel(session)
        async with panel.run_test(size=size) as pilot:
            await steps(panel, pilot)
            assert panel.fault is None, panel.fault
        return panel

    return asyncio.run(run())


def part(panel: Panel, where: str) -> str:
    return str(panel.query_one(where, Static).render())


def did(session: Session) -> list[str]:
    return [to_text(action) for action in session.actions]


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (40, 12)])
def test_keys_play_the_bench(size: tuple[int, int]) -> None:
    session = session_on("tide_gauge")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.press("c", "r", "full_stop", "full_stop", "enter", "full_stop")
        assert did(session) == ["disable", "restart", "pulse 1", "pulse 1", "set i0=1", "pulse 1"]
        await pilot.press("u", "u", "down", "up", "b", "b")
        assert did(session) == ["disable", "restart", "pulse 1", "pulse 1", "press i0", "release i0"]
        assert "step 5" in part(panel, "#head") and "Step clock off" in part(panel, "#status")
        assert "hold" in part(panel, "#lines") and "release i0" in part(panel, "#done")
        await pilot.press("slash", *"set i1=1", "enter")
        assert did(session)[-1] == "set i1=1"
        await pilot.press("escape", "home")
        assert "looking back" in part(panel, "#head")
        await pilot.press("end", "q")

    assert on_screen(session, steps, size).return_code == 0


def test_a_step_is_one_of_the_step_clock_while_that_is_on() -> None:
    session = session_on("tide_gauge", "restart")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.press("full_stop", "c", "full_stop")
        assert did(session)[1:] == ["steps 1", "disable", "pulse 1"]

    on_screen(session, steps)


@pytest.mark.parametrize(
    ("size", "keys"), [((40, 40), "space time  . step  ? help  q quit"), ((100, 40), "b button  r restart")]
)
def test_the_head_and_the_keys_fit(size: tuple[int, int], keys: str) -> None:
    session = session_on("tide_gauge", "restart")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.pause()
        assert keys in part(panel, "#keys")
        assert "time stands" in part(panel, "#head")[: size[0]]
        entry = panel.query_one(Input)
        assert len(entry.placeholder) < size[0]

    on_screen(session, steps, size)


def test_time_runs_and_stands() -> None:
    session = session_on("tide_gauge", "restart")

    async def steps(panel: Panel, pilot: Any) -> None:
        begun = time.monotonic()
        await pilot.press("space")
        await pilot.pause(0.4)
        await pilot.press("space")
        (waited,) = session.actions[1:]
        assert isinstance(waited, Seconds) and 0.1 < waited.seconds < time.monotonic() - begun + 0.1
        await pilot.press("plus", "plus", "plus", "plus", "space")
        assert panel.pace.speed is None
        await pilot.pause(0.4)
        assert "as fast as it goes" in part(panel, "#head")
        await pilot.press("space")
        before, (waited,) = waited, session.actions[1:]
        assert isinstance(waited, Seconds) and waited.seconds > before.seconds + 1  # waits join

    on_screen(session, steps)


def test_a_display_that_flashes_is_held_until_it_is_asked_for() -> None:
    session = session_on("tide_gauge", "strap 88", "restart")

    async def flash(panel: Panel, pilot: Any) -> None:
        await pilot.press("space")
        for _ in range(30):
            await pilot.pause(0.1)
            if panel.held is not None:
                break
        assert panel.held is not None
        assert "held still" in part(panel, "#answer") and "seizures" in part(panel, "#answer")
        assert "held still" in part(panel, "#caption")
        await pilot.press("m")
        await pilot.pause(0.5)
        assert panel.held is None

    on_screen(session, flash)


def test_the_mouse_chooses_moves_and_edits() -> None:
    session = session_on("tide_gauge", "restart")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.click("#lines", offset=(5, 2))
        assert panel.chosen == 2
        await pilot.click("#lines", offset=(5, 2))
        assert did(session)[-1] == "set i2=1"
        await pilot.click("#done", offset=(5, 1))
        assert panel.query_one(Input).value == "edit 2 set i2=1"

    on_screen(session, steps)


def test_what_is_typed_is_completed_and_refusals_are_shown() -> None:
    session = session_on("tide_gauge")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.press("slash", *"press i3", "enter")
        assert "no button sits on i3" in part(panel, "#answer")
        await pilot.press(*"osci", "right", "space", *"off", "enter")
        assert did(session) == ["oscillator off"]

    on_screen(session, steps)


def test_a_long_answer_covers_no_line_and_can_be_read() -> None:
    session = session_on("tide_gauge")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.press("slash", *"fly", "enter", "escape")
        lines, answer = panel.query_one("#lines"), panel.query_one("#answer")
        assert lines.region.height == 17 and lines.region.bottom <= answer.region.y
        assert part(panel, "#lines").splitlines()[-1].split()[1] == "o7"
        assert part(panel, "#answer").endswith(" …") and part(panel, "#keys").startswith("n the rest")
        await pilot.press("n")
        assert "undo, wait, why" in part(panel, "#read") and not panel.query_one("#bench").display
        await pilot.press("escape")
        assert panel.query_one("#bench").display
        await pilot.press("question_mark")
        assert "play FILE" in part(panel, "#read") and "  m motion" in part(panel, "#read")

    on_screen(session, steps)


def test_what_is_typed_at_once_goes_into_the_entry() -> None:
    session = session_on("tide_gauge", "restart")

    async def steps(panel: Panel, pilot: Any) -> None:
        for key, character in (("slash", "/"), ("s", "s"), ("e", "e"), ("space", " "), ("slash", "/")):
            panel.post_message(Key(key, character))
        await pilot.pause(0.2)
        assert panel.query_one(Input).value == "se /" and not panel.pace.going

    on_screen(session, steps)


def test_another_slot_has_its_own_names_and_attachments() -> None:
    session = session_on("tide_gauge", "restart", "select 88", "restart", "steps 800")

    async def steps(panel: Panel, pilot: Any) -> None:
        for _ in range(50):
            if "BREAKWATER: WIND SW" in part(panel, "#parts"):
                break
            await pilot.pause(0.1)
        assert "Serial terminal on o0" in part(panel, "#parts")
        assert "Weather report, slot 88 of quay" in part(panel, "#head")
        assert "force of th" in part(panel, "#lines")

    on_screen(session, steps)


def test_only_the_terminals_own_ink_is_used() -> None:
    """So that it reads on light ground and dark, and without colours."""
    session = session_on("tide_gauge", "restart", "steps 3")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.press("down")
        inks = {
            color.name
            for strip in panel.screen._compositor.render_strips()
            for segment in strip
            if segment.style
            for color in (segment.style.color, segment.style.bgcolor)
            if color is not None
        }
        assert inks <= {"default"}, inks

    on_screen(session, steps)


def test_a_smaller_screen_is_laid_out_anew() -> None:
    session = session_on("tide_gauge", "restart")

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.resize_terminal(80, 24)
        await pilot.pause(0.2)
        assert panel.query_one("#side").region.width == 27
        assert all(len(row) <= 52 for row in part(panel, "#lines").splitlines())

    on_screen(session, steps, (120, 40))


def test_ctrl_c_ends_it_with_all_that_was_done_on_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORELIGHT_STATE", str(tmp_path))
    session = session_on("tide_gauge", "restart", keep=True)

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.press("space")
        await pilot.pause(0.2)
        await pilot.press("ctrl+c")

    assert on_screen(session, steps).return_code == 0
    assert session.ended and session.kept is not None
    assert load_toml(session.kept).actions == session.actions
    assert isinstance(session.actions[-1], Seconds)


def test_a_fault_leaves_the_screen_and_is_handed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    session = session_on("tide_gauge", "restart")

    async def run() -> Panel:
        panel = Panel(session)
        async with panel.run_test():
            monkeypatch.setattr(session, "say", lambda text: 1 / 0)
            panel.post_message(Key("full_stop", "."))
            while panel.fault is None:
                await asyncio.sleep(0.02)
        return panel

    panel = asyncio.run(run())
    assert isinstance(panel.fault, ZeroDivisionError) and panel.return_code == 1


@pytest.mark.parametrize("wide", [40, 60, 80, 120])
def test_each_line_shows_its_level_at_any_width(wide: int) -> None:
    """Where there is no room for everything, who drives a line gives way, and never its level."""

    async def steps(panel: Panel, pilot: Any) -> None:
        await pilot.press("r")
        room = panel.query_one("#lines").size.width
        rows = [row[:room] for row in part(panel, "#lines").splitlines() if row.strip()]
        assert len(rows) == 16
        driven = "switch open" in rows[0]
        assert driven == (wide >= 60)
        for row in rows:
            level, trace = row.split()[-2:]
            assert level in {"0", "1", "?"} and set(trace) <= set("▁▇▒?"), row

    on_screen(session_on("tide_gauge"), steps, (wide, 24))
