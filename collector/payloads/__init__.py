"""What a message says: JSON, SenML, Homie, plain numbers, and their units.

Nothing of the broker it came by.

Doors: `decode`, `screening`, `senml`, `units`.
"""
