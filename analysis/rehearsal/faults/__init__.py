"""What each fault does to the machine, and events that only look like one.

No rule that finds it.

Doors: `air`, `bearing_drag`, `fault`, `negatives`, `night_reduction_misfit`, `registry`,
`reversed_flow`, `short_cycling`, `stall`.
"""
