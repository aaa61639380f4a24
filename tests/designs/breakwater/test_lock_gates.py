"""Lock gates: every state that can be reached, from every power-up, by exhaustive search."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

BASIN, SEA, SHUT = 1 << 1, 1 << 5, 1 << 6
ASKS = range(4)  # i0 asks for the sea gate, i1 for the basin gate


def test_never_both_open_in_any_reachable_state(drive: Drive) -> None:
    """The rule of any lock (common practice, no source), over all histories.

    The outputs show the whole state, so a search over outputs is a search over states; the shortest history
    that leads to each is played again to try the four settings of the switches from there.
    """
    histories: dict[int, list[int]] = {SHUT: []}
    waiting = [SHUT]
    while waiting:
        state = waiting.pop()
        for ask in ASKS:
            design = drive("lock_gates")
            design.restart()
            for earlier in [*histories[state], ask]:
                design.switch(earlier)
                design.steps(1)
            assert design.outputs in (SHUT, SEA, BASIN)
            if design.outputs not in histories:
                histories[design.outputs] = [*histories[state], ask]
                waiting.append(design.outputs)
    assert set(histories) == {SHUT, SEA, BASIN}  # each gate can open: the rule is not kept by doing nothing


def test_restart_shuts_both_from_any_power_up(drive: Drive) -> None:
    for power_up in (0, 1):
        design = drive("lock_gates", power_up)
        design.restart()
        assert design.outputs == SHUT


def test_one_step_shut_between_the_gates(drive: Drive) -> None:
    design = drive("lock_gates")
    design.restart()
    design.switch(0b01)
    assert design.steps(2).tolist() == [SEA, SEA]
    design.switch(0b10)
    assert design.steps(3).tolist() == [SHUT, BASIN, BASIN]
