"""Netlists whose clocks glitch, gate each other or close loops: what is known, found round by round."""
