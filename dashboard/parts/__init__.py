"""Parts of pages: cards, charts, drawing, sentences.

No page of its own.

Doors: `alarm_sentence`, `cards`, `charts`, `collector_health`, `last_values`, `live_section`,
`page`, `page_acts`, `schematic`, `svg`, `visitor`, `words`.
"""
