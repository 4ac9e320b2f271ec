"""What a message to a person says, and its delivery.

When one is due is decided in `analysis.alarms`.

Doors: `delivery`, `message_texts`.
"""
