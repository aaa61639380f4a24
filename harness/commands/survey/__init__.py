"""`forelight survey`: what a notebook says, what to try next, its report, joining, and judging anew."""
