"""The commands of the program, one a module, grouped by what they are for.

No computation: a command reads, calls the analysis and prints.
"""
