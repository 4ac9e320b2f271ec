"""To exchange a pump: choice, efficiency index, checklist, trial on the bench, commissioning.

No proof of the saving: that is in `analysis.savings`.

Doors: `checklist`, `commissioning`, `efficiency_index`, `pump_choice`, `trial`, `trial_results`.
"""
