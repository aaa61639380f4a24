"""The fast frame-level bench: a procedure to a golden.

Decisions of the model that the rules above leave open. The chip in Amaranth (`harness/chip`) and the fast bench
(`harness/bench`) both hold to them; tests compare the two on random procedures, byte for byte and frame for frame.

- A tick is an oscillator edge, counted from 0: what changes in frame k reaches lines and pins at tick `(k + 1) * T -
  1`, where T is the ticks of a frame.
- Slot n sits at position n of the chain; bit k of a frame is line k % 8 of position k // 8, shifting towards bit 0.
  The chip's own registers are reset at power-up.
- A golden's `inputs` are the design's lines as the link brought them, the step line included; its `outputs` are the
  board's pins, unsettled until the first capture.
- The hand is exact: each move takes one frame, a strap three (four if the step clock runs), and a prediction ends
  with the frame that shows the last answer.
- On a board with step and restart lines of its own, a design that names i7 or i6 gets the board's line there.
- With no wanted rate the step clock is set to 10 Hz (common practice, no source).


What does not depend on power-up or race is said bit by bit:

- Sampling (`s`): power-ups all zero, all one, as declared, and random ones by a seed. Where several lines move in one
  update and one of them leads to a clock, a latch or a loop, each power-up but the first moves some of them, by
  chance, before the others. N that agree bound the share of others at 3/N with 95 % confidence (the rule of three).
  Distinct states run one after another; where that would take long, side by side in lanes.
- A race is named where one state came to different ends and an output was unsettled by it that had been settled. It
  is named as a suspect where all power-ups agreed and only the proof was lost by it.
- A glitch of a line that moves alone is known to the proof only; no sampled power-up has any. So what the proof loses
  by one, with all that may depend on it, is unsettled whatever the power-ups agree on (Time 5: a clock that may have
  glitched).
- Anywhere: a run that ends with the step line alone in motion, comes back to a state that it has had, and shows from
  every power-up the same sequence begun elsewhere, has settled outputs and the fact `start = "anywhere"`; a capture
  is sought in the whole period.
"""
