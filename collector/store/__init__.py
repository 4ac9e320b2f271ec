"""Readings kept: in a file of our own or in a server's time-series engine.

No judgement, and no row is ever made up.

Doors: `chart_spans`, `opening`, `protocol`, `spool`.
"""
