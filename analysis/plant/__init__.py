"""What a plant is made of: circuits, pumps, boiler, store, exchanges, and what a finding says.

No reading and no rule of a fault.

Doors: `effects`, `boiler_limits`, `exchanges`, `finding`, `installed_pump`, `logbook_kinds`, `plant`.
"""
