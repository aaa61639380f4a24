"""The end of a survey on paper and for programs: what works, what does not, and why; with names where asked for."""
