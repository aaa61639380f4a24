"""The bench on the screen: lines, display, attachments and the list of what was done, for keys and mouse."""

from __future__ import annotations

import asyncio
import signal
import time
from contextlib import suppress
from typing import Any, ClassVar

import numpy as np
from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import Disable, Enable, Restart, to_text
from forelight.sim.errors import ForelightError
from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.events import Click, Resize
from textual.suggester import Suggester
from textual.widgets import Input, Static

from ..view.display import UNICODE
from ..view.limits import DANGER
from ..view.words import seconds
from . import drawing
from .meaning import one_step, said_as
from .pace import RATE
from .session import Session, Told, completions, linked, pressed, toggled
from .window import flashes, kept, lamps, traces, until

#: Pictures between two looks at what takes longer: status, attachments, flashes.
_SLOW_EVERY = 8
#: Pictures between two writings of the list while only time passes.
_KEPT_EVERY = 64
#: How much longer than they took to read attachments are left alone.
_REST = 3
#: Rows from which on a screen is tall; rows of attachments on one that is not.
TALL = 30
#: Columns from which on there is room for whole rows of lines beside a wide display.
BOTH = 70
_PARTS = 4
KEYS = (
    "space time  . step  enter switch  b button  r restart  / say  ? help  q quit",
    "c clock  o outside  u undo  left, right: back  + - speed  w why  m motion",
)
#: What there is of them on a narrow screen.
SHORT_KEYS = "space time  . step  ? help  q quit"
_PLACEHOLDER, _SHORT_PLACEHOLDER = (
    "/ to say what to do, such as set i0=1 or steps 5",
    "/ to say it, such as set i0=1",
)


class Offers(Suggester):
    """Completes what is typed by what can be said at this bench."""

    def __init__(self, session: Session) -> None:
        super().__init__(use_cache=False, case_sensitive=False)
        self.session = session

    async def get_suggestion(self, value: str) -> str | None:
        found = completions(self.session, value) if value else []
        return found[0] if found else None


class LineRows(Static):
    """The rows of lines: a click chooses one, a second click moves its switch."""

    def on_click(self, event: Click) -> None:
        row = event.y - (event.y > 8)
        if event.y != 8 and 0 <= row < 16:
            panel = self.app
            assert isinstance(panel, Panel)
            panel.click_line(row)


class DoneList(Static):
    """The list of actions: a click puts one into the entry, to be changed."""

    def on_click(self, event: Click) -> None:
        panel = self.app
        assert isinstance(panel, Panel)
        panel.edit_row(event.y)


class Panel(App[None]):
    """One session on the screen. Whatever is said to it ends in the session; the screen only looks."""

    TITLE = "Forelight"
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None
    CSS = """
    Screen { background: ansi_default; color: ansi_default; layout: vertical; }
    Static { background: ansi_default; color: ansi_default; }
    #head { height: 1; text-style: bold; }
    #status { height: 2; }
    #bench { height: 1fr; }
    #left { width: 1fr; height: 100%; }
    #lines { height: 17; text-wrap: nowrap; text-overflow: clip; }
    .tall #lines { height: 18; }
    #about { height: 1fr; margin-right: 2; text-style: dim; display: none; }
    .tall #about { display: block; }
    #side { width: 27; height: 1fr; margin-left: 1; }
    #side.wide { width: 38; }
    #side.narrow { width: 14; }
    .title { height: 1; text-style: underline; }
    #beside { height: auto; max-height: 9; display: none; }
    .taught #beside { display: block; }
    #done { height: 1fr; text-wrap: nowrap; text-overflow: ellipsis; }
    #parts { height: auto; max-height: 9; }
    #display { height: auto; margin-left: 2; }
    #answer { height: 2; text-style: italic; }
    #whole { height: 1fr; display: none; background: ansi_default; scrollbar-size-vertical: 1;
        scrollbar-background: ansi_default; scrollbar-color: ansi_bright_black; }
    #read { height: auto; }
    .reading #whole { display: block; }
    .reading #bench { display: none; }
    .reading #answer { display: none; }
    #entry { height: 1; border: none; padding: 0; background: ansi_default; color: ansi_default; }
    #keys { height: 1; text-style: dim; }
    .tall #answer { height: 5; }
    .tall.slim #status { height: 4; }
    """
    BINDINGS: ClassVar[list[Any]] = [
        Binding("space", "go", priority=False),
        Binding("full_stop", "step"),
        Binding("enter", "switch"),
        Binding("b", "button"),
        Binding("B", "bounce"),
        Binding("o", "outside"),
        Binding("r", "restart"),
        Binding("c", "clock"),
        Binding("u", "undo"),
        Binding("p", "replay"),
        Binding("up", "choose(-1)"),
        Binding("down", "choose(1)"),
        Binding("left", "look_back(-1)"),
        Binding("right", "look_back(1)"),
        Binding("home", "look_back(-1000000000)"),
        Binding("end", "look_back(1000000000)"),
        Binding("plus", "faster"),
        Binding("minus", "slower"),
        Binding("equals_sign", "true"),
        Binding("m", "motion"),
        Binding("w", "why"),
        # Before anything else, so that what is typed next goes into the entry, however fast it comes.
        Binding("s", "entry('save ')", priority=True),
        Binding("slash,colon,tab", "entry('')", priority=True),
        Binding("question_mark", "help"),
        Binding("n", "read"),
        Binding("q", "leave"),
        Binding("ctrl+c", "leave", priority=True),
        Binding("escape", "bench", priority=True),
    ]

    def __init__(self, session: Session) -> None:
        super().__init__(ansi_color=True)
        self.session = session
        self.pace = session.pace
        self.chosen = 0
        self.at: int | None = None  # the tick that is looked back to
        self.reading = False  # an answer, in place of the bench
        self.motion = False  # whether the person has asked to see it flash
        self.held: tuple[float | None, ...] | None = None  # the display as it is held still
        self.drawn = 0
        self._lamps: tuple[float | None, ...] = (None,) * 8  # as they were drawn last
        self._then = time.monotonic()
        self._answer: tuple[str, ...] = session.opening()
        self._said: dict[str, str] = {}
        self._reading_parts, self._parts_due, self._parts_seen = False, 0.0, (-1, -1)
        self.fault: Exception | None = None
        self.ended_by = 0  # the signal that ended it, if one did

    def compose(self) -> ComposeResult:
        yield Static(id="head")
        yield Static(id="status")
        with Horizontal(id="bench"):
            with Vertical(id="left"):
                yield LineRows(id="lines")
                yield Static(id="about")
            with Vertical(id="side"):
                yield Static(id="beside")
                yield Static("What was done", classes="title")
                yield DoneList(id="done")
                yield Static(id="parts")
                yield Static("The display", id="caption", classes="title")
                yield Static(id="display")
        yield Static(id="answer")
        with VerticalScroll(id="whole"):
            yield Static(id="read")
        yield Input(id="entry", placeholder=_PLACEHOLDER, suggester=Offers(self.session))
        yield Static(id="keys")

    def on_mount(self) -> None:
        self.set_focus(None)
        self.set_interval(1 / RATE, self.picture)
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            # Windows has neither all of them nor a loop that listens to them.
            with suppress(AttributeError, NotImplementedError, RuntimeError, ValueError):
                number = getattr(signal, name)
                asyncio.get_running_loop().add_signal_handler(number, self._end_by, number)

    def _end_by(self, number: int) -> None:
        """Told to end from outside: what was done is kept, and the terminal left as it was."""
        self.ended_by = 0 if number == signal.SIGINT else number
        self.action_leave()

    def on_resize(self, event: Resize) -> None:
        """Lay the parts out anew, and draw them once they have their sizes."""
        self.screen.set_class(event.size.height >= TALL, "tall")
        self.query_one("#side").set_class(event.size.width >= 110, "wide")
        self.query_one("#side").set_class(event.size.width < BOTH, "narrow")
        self.screen.set_class(event.size.width < BOTH, "slim")
        short = event.size.width < len(_PLACEHOLDER)
        self.query_one(Input).placeholder = _SHORT_PLACEHOLDER if short else _PLACEHOLDER
        self.call_after_refresh(self.draw_all)

    def _handle_exception(self, error: Exception) -> None:
        """A fault leaves the terminal as it was, and is told as every command tells one."""
        self.fault = error
        self.exit(return_code=1)

    # Time

    def picture(self) -> None:
        """One picture: what passed in the room passes on the bench."""
        now = time.monotonic()
        passed, self._then = now - self._then, now
        try:
            self.pace.picture(min(passed, 0.2))
        except ForelightError as error:
            self.pace.go(going=False)
            self.answer((f"Time is held: {error}",))
        if self.pace.going:
            self.draw_moving()
            if self.drawn % _SLOW_EVERY == 0:
                self.draw_slow()
            if self.drawn % _KEPT_EVERY == 0:
                self.session.keep()
                self._notice()
        self.draw_parts()

    def _notice(self) -> None:
        """Whether time alone has brought something that is to be said."""
        noticed = (*self.session.troubles(), *self.session.noticed())
        if noticed:
            self.answer(noticed)
            self.draw_all()

    # Drawing

    def draw_all(self) -> None:
        self.draw_moving()
        self.draw_slow()

    def _record(self) -> Any:
        """The record as far as it is looked at, with the answer to what was done last where time stands."""
        bench = self.session.bench
        if self.at is not None:
            return bench.stepped(until(bench.record(), self.at))
        if self.pace.going:
            return bench.stepped(until(bench.record(), bench.now))
        with bench.answered():
            return kept(bench.stepped(until(bench.record(), bench.now)))

    def draw_moving(self) -> None:
        """What moves with time: lines, traces, display, clock."""
        self.drawn += 1
        session, shown = self.session, self._record()
        lines = session.now(shown)
        width = self.query_one("#lines").size.width or 52
        found = traces(shown, drawing.trace_width(lines, width), blind=session.blind)
        self._put("#lines", drawing.line_rows(lines, found, width, self.chosen))
        speed = None if self.at is not None else self.pace.seen_speed
        seen_lamps = lamps(shown, speed)
        if speed is not None and not self.motion:
            seen_lamps = self._guarded(shown, speed, seen_lamps)
        self._lamps = seen_lamps
        large = self.size.height >= TALL and self.size.width >= BOTH
        self._put("#display", drawing.display(session.board, seen_lamps, large=large))
        self._put("#caption", Text(self._caption(speed)))
        self._put("#head", self._head(shown))

    def _guarded(self, shown: Any, speed: float, now: tuple[float | None, ...]) -> tuple[float | None, ...]:
        """The display, held still from the flash on that would be one too many."""
        if self.held is None and flashes(shown, speed).too_much:
            self.held = self._lamps  # as it was before the flash that is one too many
            self.answer(
                (f"The display is held still; if nobody is at risk, press m to see it move: {DANGER}.",)
            )
        return self.held if self.held is not None else now

    def _caption(self, speed: float | None) -> str:
        """What the drawing of the display is of."""
        if self.held is not None and speed is not None:
            return "The display is held still"
        return "The display" if speed is None else "The display, to the eye"

    def _head(self, shown: Any) -> Text:
        session, hz = self.session, shown.oscillator_hz
        sheet, slot = session.bench.selected, session.bench.standing.slot
        title = sheet.title if sheet else "Empty"
        tick = session.bench.now if self.at is None else self.at
        how = str(self.pace) if self.at is None else "looking back"
        step = f"step {int(shown.steps[-1])}  " if sheet and sheet.step else ""
        now = f"{seconds(tick / hz)}  {step}{how}"
        wheres = (f"{title}, slot {slot} of {session.board.name}", f"{title}, slot {slot}", title)
        where = next((one for one in wheres if len(one) + len(now) < self.size.width), title)
        room = max(1, self.size.width - len(where) - len(now))
        return Text(f"{where}{' ' * room}{now}", no_wrap=True, overflow="ellipsis")

    def draw_slow(self) -> None:
        session = self.session
        self._put("#status", self._status())
        self._put("#about", Text("\n\n".join(session.about())))
        beside = session.beside()
        self.screen.set_class(bool(beside), "taught")
        self._put(
            "#beside", Text("\n").join([Text(beside[0], "bold"), Text(beside[1])]) if beside else Text()
        )
        room = self.query_one("#done").size.height or 6
        self._put("#done", drawing.done(session.actions, len(session.before), room))
        self._put_answer()

    def _status(self) -> Text:
        """Why the display does what it does; where there is no room for all of it, without what is as usual."""
        shown = None if self.at is None else until(self.session.bench.record(), self.at)
        said = self.session.status(shown, self.at)
        rows = self.query_one("#status").size.height or 2
        if len(Text(" ".join(said)).wrap(self.console, max(20, self.size.width))) > rows:
            said = [sentence for sentence in said if not sentence.endswith("not held.")]
        return Text(" ".join(said))

    def draw_parts(self) -> None:
        """What is wired to the lines: read beside the pictures, and no oftener than a share of the time allows."""
        if self._reading_parts or time.monotonic() < self._parts_due:
            return
        if self._parts_seen == (self.session.bench.now, self.session.bench.standing.slot):
            return
        self._reading_parts = True
        self.run_worker(self.read_parts(), exit_on_error=True)

    async def read_parts(self) -> None:
        bench = self.session.bench
        self._parts_seen = (bench.now, bench.standing.slot)
        if self.pace.going:
            read = self.session.attached()
        else:
            with bench.answered():
                read = self.session.attached()
        then = time.monotonic()
        found = await asyncio.to_thread(read)
        self._parts_due = time.monotonic() + _REST * (time.monotonic() - then)
        self._put("#parts", drawing.attachments(found, _PARTS if self.size.height < TALL else 9))
        self._reading_parts = False

    def _put(self, where: str, text: Text) -> None:
        """Draw a part anew if it has changed."""
        key = f"{text.plain}\0{text.spans}"
        if self._said.get(where) != key:
            self._said[where] = key
            self.query_one(where, Static).update(text)

    def answer(self, lines: tuple[str, ...]) -> None:
        self._answer = lines
        self._put_answer()

    def _put_answer(self) -> None:
        """The answer as far as there is room for it, and what keys do: among that, to read it to its end."""
        answer = Text(" ".join(self._answer))
        wrapped = answer.wrap(self.console, max(20, self.size.width))
        for line in wrapped:
            line.rstrip()
        room = 5 if self.size.height >= TALL else 2
        if len(wrapped) > room:
            answer = Text("\n").join(wrapped[:room])
            answer.truncate(len(answer) - max(0, len(wrapped[room - 1]) + 3 - self.size.width))
            answer.append(f" {UNICODE.more}")
        self._put("#answer", answer)
        keys = [KEYS[0]] if self.size.width <= sum(map(len, KEYS)) + 2 else list(KEYS)
        if self.size.width < len(KEYS[0]):
            keys = [SHORT_KEYS]
        if self.reading:
            keys = ["up, down to read on  escape back to the bench  q quit"]
        elif isinstance(self.focused, Input):
            keys = ["enter say it  right take what is offered  escape back to the keys"]
        elif len(wrapped) > room:
            keys = ["n the rest of the answer", SHORT_KEYS if self.size.width < 2 * len(KEYS[0]) else KEYS[0]]
        self._put("#keys", Text("  ".join(keys), no_wrap=True, overflow="ellipsis"))

    def _read(self, lines: tuple[str, ...]) -> None:
        """Show lines in the place of the bench, to be read at leisure."""
        self.reading = True
        self._put("#read", Text("\n".join(lines)))
        self.screen.set_class(True, "reading")
        whole = self.query_one("#whole", VerticalScroll)
        whole.scroll_home(animate=False)
        self.set_focus(whole)
        self._put_answer()

    def on_descendant_focus(self) -> None:
        self._put_answer()

    def on_descendant_blur(self) -> None:
        self._put_answer()

    # What the person does

    def tell(self, text: str) -> Told:
        """Say something to the session, and show what came of it."""
        told = self.session.say(text)
        self.at = None
        self.answer(told.brief or told.lines)
        self.draw_all()
        if self.session.ended:
            self.exit()
        return told

    @property
    def line(self) -> str | None:
        """The chosen input line."""
        return INPUT_LINES[self.chosen] if self.chosen < 8 else None

    def click_line(self, row: int) -> None:
        again = row == self.chosen
        self.chosen = row
        if again and self.line:
            self.action_switch()
        else:
            self.draw_moving()

    def edit_row(self, row: int) -> None:
        actions = self.session.actions
        first = max(0, len(actions) - self.query_one("#done").size.height)
        if first + row < len(actions):
            self.action_entry(f"edit {first + row + 1} {said_as(actions[first + row])}")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        text = event.value.strip()
        event.input.value = ""
        if text:
            self.tell(text)
        else:
            self.action_bench()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """In the entry its keys are characters."""
        return not (action == "entry" and isinstance(self.focused, Input))

    def action_entry(self, text: str) -> None:
        entry = self.query_one(Input)
        self.set_focus(entry)  # at once, so that what is typed next is not taken for keys
        if text:
            entry.value = text
            entry.cursor_position = len(text)

    def action_bench(self) -> None:
        if not self.reading:
            self.at = None
        self.reading = False
        self.screen.set_class(False, "reading")
        self.set_focus(None)
        self.draw_all()

    def action_go(self) -> None:
        self.at, self.held = None, None
        self.pace.go()
        self.session.keep()
        self._notice()
        self.draw_all()

    def action_step(self) -> None:
        self.tell(to_text(one_step(self.session.bench)))

    def action_switch(self) -> None:
        if self.line:
            self.tell(to_text(toggled(self.session, self.line)))

    def action_button(self) -> None:
        if self.line:
            self.tell(to_text(pressed(self.session, self.line)))

    def action_bounce(self) -> None:
        if self.line:
            self.tell(to_text(pressed(self.session, self.line, bouncing=True)))

    def action_outside(self) -> None:
        if self.line:
            self.tell(to_text(linked(self.session, self.line)))

    def action_restart(self) -> None:
        self.tell(to_text(Restart()))

    def action_clock(self) -> None:
        self.tell(to_text(Disable() if self.session.bench.standing.enable else Enable()))

    def action_undo(self) -> None:
        self.tell("undo")

    def action_replay(self) -> None:
        self.tell("replay")

    def action_help(self) -> None:
        keys = (f"  {key}" for row in KEYS for key in row.split("  "))
        self._read(("Keys:", *keys, "", *self.session.say("help").lines))

    def action_read(self) -> None:
        """The whole answer, in place of the bench; and back."""
        if self.reading:
            self.action_bench()
        else:
            self._read(self._answer)

    def action_why(self) -> None:
        """Why the chosen output has its level, now or at the step that is looked back to."""
        if self.chosen < 8:
            self.answer(("Choose an output line first, then w says why it has its level.",))
            return
        bench = self.session.bench
        record = bench.stepped(bench.record())
        step = ""
        if self.at is not None:
            row = int(np.searchsorted(record.ticks, self.at, side="right")) - 1
            step = f" step {int(record.steps[row])}"
        self.answer(self.session.say(f"why o{self.chosen - 8}{step}").lines)

    def action_leave(self) -> None:
        self.session.keep()
        self.session.say("quit")
        self.exit()

    def action_choose(self, by: int) -> None:
        self.chosen = (self.chosen + by) % 16
        self.draw_moving()

    def action_look_back(self, by: int) -> None:
        """Look back along the traces, a step or a change at a time; time stands meanwhile."""
        self.pace.go(going=False)
        bench = self.session.bench
        record = bench.stepped(bench.record())
        if not len(record.ticks):
            return
        stepped = np.concatenate(([True], np.diff(record.steps) > 0))
        moments = record.ticks[stepped] if record.steps[-1] > 1 else record.ticks
        at = bench.now if self.at is None else self.at
        index = int(np.searchsorted(moments, at, side="left")) + (by if by < 0 else 0)
        if by > 0:
            index = int(np.searchsorted(moments, at, side="right")) + by - 1
        self.at = None if index >= len(moments) else int(moments[max(0, index)])
        self.draw_all()

    def action_faster(self) -> None:
        self.pace.faster()
        self.draw_all()

    def action_slower(self) -> None:
        self.pace.slower()
        self.draw_all()

    def action_true(self) -> None:
        self.pace.true()
        self.draw_all()

    def action_motion(self) -> None:
        self.motion, self.held = not self.motion, None
        moving = f"The display moves, whatever it flashes: {DANGER}."
        self.answer((moving if self.motion else "Flashing is held still again.",))
