"""The rehearsal plant: a physical model of houses with pumps and boilers whose truth is known.

`rehearse` gives a plant, its readings and the truth of a case; `cases` names the cases.
"""

from analysis.rehearsal.course.truth import Truth
from analysis.rehearsal.plan.cases import cases
from analysis.rehearsal.rehearse import Rehearsal, rehearse

__all__ = ["Rehearsal", "Truth", "cases", "rehearse"]
