"""What is settled from any power-up, whichever way a race falls.

Ternary simulation over the whole run (`ternary.py`). Pessimistic, never wrong. Where clocks, controls and loops made
by logic would take more than 100,000 gates to follow (fewer in runs beyond 340,000 steps), what they reach counts as
unknown, and a golden's fact `left_open` says so. A written memory of more than 4096 bits is followed row by row where
it has one clock that is a line of its own: a write to an address that is not known loses all its rows until they are
written again, and a read from one is unknown. With other clocks all that it holds counts as unknown.

What is known on a netlist of gates with known clocks is what the tables of IEEE 1364-2005 say, no more and no less:
`tests/sim/three_valued` compares every net of 41 ISCAS netlists, 45 designs of the catalogue as gates and 300 random
circuits of Yosys' fine-grained cells with Icarus Verilog, 22 million bits with lines known and unknown, and all are
equal, in plain three-valued logic and in both kinds of proof. A choice made of and, or and not is known less often
than a `$mux`.
"""
