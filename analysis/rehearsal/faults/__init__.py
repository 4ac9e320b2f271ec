"""What each fault does to the machine, and events that only look like one.

No rule that finds it.

Doors: `faults`, `negatives`.
"""
