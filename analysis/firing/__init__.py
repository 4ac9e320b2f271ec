"""When the burner fires: one file for each kind of evidence, then cycles, days and years of them.

No judgement on them: that is in `analysis.faults`.

Doors: `burner_cycles`, `by_power`, `cycle_statistics`, `daily_firings`, `firings`,
`full_load_hours`, `heat_per_cycle`, `yearly_starts`.
"""
