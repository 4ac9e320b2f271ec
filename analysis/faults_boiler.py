"""Faults of boilers and stores."""

from analysis.fault import Fault

BOILER_FAULTS: tuple[Fault, ...] = ()
