"""What can be wrong: the row of each fault, its judge, and the registry that collects them.

Nothing of the rehearsal, whose truth the judges are scored against.

Doors: `data_quality`, `fault`, `nightly`, `registry`, `return_too_warm`, `rows_boiler`,
`short_cycling`, `store_faults`.
"""
