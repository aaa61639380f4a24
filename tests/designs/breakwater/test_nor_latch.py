"""NOR latch against the truth table of the set-reset latch, from every power-up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.sizes import sized

if TYPE_CHECKING:
    from forelight.sim.state import PowerUp

    from tests.designs.breakwater.conftest import Drive

SET, RESET, NONE, BOTH = 0b01, 0b10, 0b00, 0b11
Q, NOT_Q = 0b01, 0b10
LENGTH = sized(4, 5)


@pytest.mark.parametrize("power_up", [0, 1])
def test_the_truth_table_over_all_short_histories(drive: Drive, power_up: PowerUp) -> None:
    """Set makes q, reset makes not-q, neither holds, both make 0 and 0 (truth table of the NOR latch, textbooks).

    Every history of five changes is tried (in the quick run of four). From both to neither the table has no entry, so
    such a history ends there.
    """
    for history in range(4**LENGTH):
        design = drive("nor_latch", power_up)
        design.switch(RESET)
        before, state = RESET, NOT_Q
        for place in range(LENGTH):
            asked = history >> 2 * place & 3
            if before == BOTH and asked == NONE:
                break
            state = {SET: Q, RESET: NOT_Q, BOTH: 0, NONE: state}[asked]
            design.switch(asked)
            assert design.outputs == state
            before = asked
