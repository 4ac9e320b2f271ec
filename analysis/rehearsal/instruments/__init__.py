"""What plugs and pipe sensors show of the truth.

No judgement and no repair of what they show.

Doors: `instruments`, `twin`.
"""
