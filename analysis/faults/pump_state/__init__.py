"""From evidence of each minute to episodes in which a pump is stalled, dry or dead-headed.

No words for people: these stand with the fault.

Doors: `demand_evidence`, `episodes`, `pump_watch`, `spell_findings`.
"""
