"""Every key of a board profile with what it means: the table by which keys are refused and explained."""

from __future__ import annotations

from collections.abc import Mapping

#: Table -> key -> what to write there. A key in angle brackets stands for the name of a line or the number of a slot.
KEYS: Mapping[str, Mapping[str, str]] = {
    "": {
        "title": "a text; must be there",
        "link": (
            '"chain" (all slots on one serial path) or "direct" (the selected slot is wired through); '
            "must be there"
        ),
        "oscillator_hz": "the board's main clock, in whole hertz; must be there",
        "slot_count": "slots are numbered from 0 to slot_count - 1; must be there",
        "empty_outputs": "the eight outputs of an empty slot as a number, bit 0 first; 0 if not said",
        "unselected": (
            'direct link only: "hold" (an unselected design\'s lines stand still) or "run" (they follow '
            "those of the selected one)"
        ),
        "chain": "a table, on a chain only",
        "step": "a table: the step line and the divider; must be there",
        "restart": "a table: the restart line, if the board suggests one",
        "buttons": "a table: the buttons beside the switches",
        "debounce": "a table: how long a button must hold",
        "pins": "a table: the labels on the board",
        "display": "a table: the wiring of the seven-segment display",
        "pulls": "a table: levels of lines whose switch does not make contact",
        "slots": "a table: what is in the slots",
    },
    "chain": {
        "positions": "bytes on the chain, one a slot; must be there",
        "ticks_per_bit": "oscillator periods a bit; must be there",
    },
    "step": {
        "line": '"i7", or "own" on a direct link; must be there',
        "law": (
            '"counter" (half = code + 1) or "two-stage" (half = (m + 1) * 2**e, m the low five bits of '
            "the code, e the high three), where a step lasts 2 * half frames; must be there"
        ),
        "settings": "direct link only: how many codes the step source has; 256 if not said",
    },
    "restart": {
        "line": '"i6", or "own" on a direct link; must be there',
    },
    "buttons": {
        "<input line>": "the label of the button on it",
    },
    "debounce": {
        "<input line>": "ticks for which the button on it must hold before it counts; 0 if not said",
    },
    "pins": {
        "<line>": "the label on the board; step and restart too where the board has lines of its own",
    },
    "display": {
        "<output line>": 'its segment, "a" to "g" or "point"',
    },
    "pulls": {
        "<input line>": "level (0 or 1) while its switch does not make contact; 0 if not said",
    },
    "slots": {
        "<number>": "a folder name of the catalogue, or a path relative to the profile",
    },
}
