"""The states of an alarm, and when a person is told of it.

No judge: alarms are made of findings, whatever found them.

Doors: `notices`, `states`.
"""
