"""The card of one slot: what to mind, set, do, see and probe at the bench, on paper."""
