"""The machines: hydraulics, motor, burner, heat and water, marched through time.

No house and no fault of its own.

Doors: `compiled`, `electronic`, `hydraulics`, `march`, `motor`, `records`.
"""
