"""How a command is declared and its arguments are read.

No command.

Doors: `argument_types`, `command`.
"""
