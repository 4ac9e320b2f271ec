"""Computation for heating plants: words of the trade and pure functions of readings."""
