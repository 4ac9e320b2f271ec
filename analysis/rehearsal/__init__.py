"""The rehearsal plant: a physical model of houses with pumps and boilers whose truth is known.

Nothing of the rules that judge it. `rehearse` gives a plant, its readings and the truth.

Doors: `rehearse`, `samples`.
"""
