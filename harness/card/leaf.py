"""What a card holds, whatever it is written on: headings with sentences, boxes to tick, tables, pictures and traces."""

from __future__ import annotations

from dataclasses import field

from forelight.designs.procedures.contention import contact_word
from forelight.sim.frozen import frozen

from ..golden.golden import Golden
from ..view.pictures import Picture


@frozen
class Sentences:
    """Short sentences, one below the other."""

    said: tuple[str, ...]


@frozen
class Task:
    """One thing that the hand does; `number` is as printed (`4`, inside a repeat `4a`), `inner` is what is repeated."""

    number: str
    sentence: str
    inner: tuple[Task, ...] = ()


@frozen
class Tasks:
    """What the hand does, in its order, each with a box to tick."""

    tasks: tuple[Task, ...]


@frozen
class SwitchPlace:
    """One input switch: its level while strapping (None where it holds no code) and afterwards.

    `pull` is the level of the line while the switch is open, None where the board does not say.
    """

    line: str
    label: str
    strapped: int | None
    then: int
    pull: int | None
    means: str

    def contact(self, level: int) -> str:
        """`open` or `closed` at this level; nothing where that is not known."""
        return contact_word(self.pull, level)


@frozen
class Switches:
    """The eight input switches, i7 first."""

    switches: tuple[SwitchPlace, ...]


@frozen
class Table:
    """Rows of words under a head; columns in `numbers` are set to the right."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: frozenset[int] = frozenset()


@frozen
class Shot:
    """One picture to expect: the display, and the words below it."""

    picture: Picture
    words: tuple[str, ...]


@frozen
class Shots:
    """Pictures in a row; `wiring` maps outputs to segments, and `note` says how it goes on."""

    shots: tuple[Shot, ...]
    wiring: dict[str, str]
    note: str


@frozen
class Traces:
    """The levels of some lines over a golden: line -> what it means; `marks` are (tick, number of a task).

    `labels` are those of the board, by line.
    """

    golden: Golden
    lines: dict[str, str]
    labels: dict[str, str]
    marks: tuple[tuple[int, str], ...] = ()


Block = Sentences | Tasks | Switches | Table | Shots | Traces


@frozen
class Part:
    """What stands under one heading."""

    heading: str
    blocks: tuple[Block, ...]


@frozen
class Card:
    """A whole card: `title` and `where`, what the design is, and its parts in the order in which they are needed."""

    name: str
    title: str
    where: str
    creator: str
    description: str
    parts: tuple[Part, ...]
    kinds: tuple[str, ...] = ()
    slot: int | None = None
    run: str = ""
    facts: dict[str, object] = field(default_factory=dict)
