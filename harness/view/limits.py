"""The limits of light that changes: what fuses, can be followed or read, and may trigger seizures; with sources."""

from __future__ import annotations

#: A light that goes on and off so often in a second looks steady, at the time average of its luminance (law of Talbot
#: and Plateau; Greene and Morrison 2023 measured how small the departures are). The rate rises with luminance, to some
#: 60 Hz in the middle of the eye (Hecht and Shlaer 1936; from memory). No slower rate is taken, as up to here flashes
#: may trigger seizures too.
FUSION_HZ = 60.0
#: Flashes that can trigger seizures, in a second: commonly from 3 to 30, for some people up to 60 (Epilepsy Society and
#: Epilepsy Action, pages on photosensitive epilepsy).
SEIZURES_HZ = (3, 30)
SEIZURES_FOR_SOME_HZ = 60
#: WCAG 2.2, success criterion 2.3.1: no more than three flashes in any period of one second.
FLASHES_ALLOWED = 3
#: WCAG 2.2, general flash: a pair of opposing changes of 10 % or more of the maximum relative luminance ...
CHANGE = 0.10
#: ... where the relative luminance of the darker image is below 0.80.
DARKER = 0.80
#: WCAG 2.x, red flash: a pair of opposing changes that involves a saturated red. As its working group has it measured,
#: a change counts where (R - G - B) * 320 moves by more than 20, however bright it is (from memory): for a red lamp,
#: which has neither green nor blue, by a sixteenth of its light. Displays are red, so every lamp is taken for a red
#: one.
RED_CHANGE = 20 / 320

#: The time over which the eye adds up light, so that a shorter flash looks as one of this length with the same light
#: (Bloch's law): some 0.1 s for an eye that has got used to the dark ...
SUMMED_IN_THE_DARK_S = 0.1
#: ... and some 0.03 s in a bright room (Barlow 1958, for backgrounds from none to bright; from memory). The tolerance
#: is wide: under 0.01 s has been reported, dark-adapted. A bench is a bright room, if nothing is said.
SUMMED_IN_A_BRIGHT_ROOM_S = 0.03
#: Changes that come round faster than this run together for an eye that adds up for the longest time: the eye sees that
#: something flickers, but not what.
FOLLOWED_HZ = 1 / SUMMED_IN_THE_DARK_S
#: How long a picture must stay to be read: one rest of the eye, 0.23 s (Card, Moran and Newell 1983, The Psychology of
#: Human-Computer Interaction, who give 0.07 to 0.7 s for people and tasks; from memory).
READABLE_S = 0.23

#: The danger, as every view says it.
DANGER = (
    f"light that flashes {SEIZURES_HZ[0]} to {SEIZURES_HZ[1]} times a second can trigger seizures, for some people up "
    f"to {SEIZURES_FOR_SOME_HZ} times (Epilepsy Society; WCAG 2.2, 2.3.1, allows three flashes in any second)"
)
