"""The saving of an exchange: same weather, same use, and what became of the claim.

No choice of a new pump: that is in `analysis.exchange`.

Doors: `burner_starts`, `claim`, `drawn_years`, `result`, `saving`.
"""
