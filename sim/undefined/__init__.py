"""What the language leaves open: found in a netlist, and drawn.

Division by zero, beyond a word or a memory, nets that nothing drives or several fight for, `x`, several cases of a
`parallel_case` at once: whoever makes the chip may choose. So is what a state machine does that wakes up in none of its
states, as a synthesiser may code them anew. It is unknown in the proof. Sampling draws it for each
power-up, as a function of inputs and registers, and anew as the run goes on; what disagrees only for that is named in a
golden's fact `undefined`, with line, reason and step. `Simulation` takes 0. Two things are kept from IEEE 1364: a
`full_case` on a clocked register means nothing, so the register keeps its value; and what is reckoned with a
constant x is x in all bits. A write outside of a memory, which the standard drops, may hit any row, as address
decoders do not look at all bits.
"""
