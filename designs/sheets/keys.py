"""Every key of a datasheet with what it means: the table by which keys are refused and explained."""

from __future__ import annotations

from collections.abc import Mapping

#: Table -> key -> what to write there. A key in angle brackets stands for the name of a line or port.
KEYS: Mapping[str, Mapping[str, str]] = {
    "": {
        "title": "a text; must be there",
        "creator": "a text: who made it",
        "license": "a text: under which licence others may use it",
        "description": "a text: what it shows, how to drive it, and what cannot be predicted of it",
        "format": (
            "amaranth (.py), verilog (.v, .sv) or netlist (.il); deduced from the source, checked if stated"
        ),
        "source": (
            '"design.py:ClassName", "design.v", or ["a.v", "b.v"]; inside the folder of the datasheet; '
            "must be there"
        ),
        "module": "the top module, for verilog and netlist",
        "step": "a table: the step line; leave it out for plain logic",
        "restart": "a table: the restart line; leave it out where there is none",
        "lines": "a table: what the lines mean",
        "ports": "a table: only where the source has ports of its own",
        "attach": "tables [[attach]]: what is wired to the design",
        "run": "tables [[run]]: procedures, and what to expect from them",
    },
    "step": {
        "line": "i0 to i7, or own on a direct link; must be there",
        "wanted_hz": "the step rate that suits eye, ear or probe",
    },
    "restart": {
        "line": "i0 to i7, or own on a direct link; must be there",
        "active": "high or low; high if not said",
    },
    "lines": {
        "<line>": (
            '{ means = "...", idle = 0 }, the line being i0 to i7 or o0 to o7; idle, the level unless '
            "something is said, for inputs alone"
        ),
    },
    "ports": {
        "<port>": (
            'its line: N1 = "i0", "N22[3]" = "o0"; for lines of the board\'s own: clk = "step", rst = '
            '"restart"'
        ),
    },
    "attach": {
        "kind": "one of the kinds below; must be there",
        "lines": (
            'a table: each terminal\'s line, { terminal = "o4" }, or "low" or "high" for one that is held'
        ),
        "options": "a table: the options of the kind",
    },
    "run": {
        "name": "a text; must be there",
        "do": "an array of bench actions; must be there",
        "expect": "a sentence: what a person should see",
        "shows": (
            '["0", "1", "2"]: what the display shows at the end of step 0, 1, 2, counted from the moment '
            'at which the slot is up, or { 0 = "0", 9 = "9." } for some steps. A character, with a point '
            "behind it if that is lit, blank, or the eight levels from o7 to o0; ? for any. For plain "
            "logic: at the end of each wait of the run, from wait 0"
        ),
        "period": (
            "18: after so many steps, and no fewer, all outputs are as they were, once the run is over "
            "and goes on"
        ),
        "duty": (
            "{ o3 = 0.333 }: the share of time at 1, over whole periods where there is one; to a thousandth"
        ),
        "sends": "a text that is in what the serial terminal receives in the run, its lines parted by \\n",
    },
}
