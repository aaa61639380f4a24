"""What is wired to a design's lines: terminals, speakers, memories.

What a datasheet wires to a design (`designs/sheets/attachments.py` has every kind, terminal and option) is of two
sorts.

- What only listens reads a trace of its terminals that is cut from a golden (`wiring.py`): terminal, display,
  speaker, meter, lamp, and the log of a memory. Its limits come from published data sheets, named in its file. The
  display counts from the moment at which the slot is up, as if its power came on then: the strictest case.
- What answers is in Amaranth, in one netlist with the design (`answering.py`), so that a run stays in machine code.
  On a direct link it is plain wire. On a chain an answer takes two frames, which registers in that netlist stand for;
  the bench adds two lines to `inputs` and runs each frame as five rows: pins sampled and outputs captured, an answer
  that wins the race against the board's lines, those lines, an answer that loses it, rest. A power-up at zero always
  lets the answer win, the others take turns: so a bit that is taken in the instant in which it arrives is unsettled.
  Claims are sampled, not proved: LLVM takes 15 s over the rails of so many clocks. While another slot is selected, an
  attachment stands still.
- The switch of a line that is driven stays open: bringing a slot up leaves it at the pull, and a run in which it is
  closed while the memory drives is refused.
"""
