"""What can be wrong: a module a fault, named by it, that ends in its row; the registry of them.

Nothing of the rehearsal, whose truth the judges are scored against.

Doors: `air`, `bearing_drag`, `data_quality`, `dead_head`, `fault`, `night_reduction_misfit`,
`registry`, `return_too_warm`, `short_cycling`, `sludge`, `stall`, `store_too_cool`.
"""
