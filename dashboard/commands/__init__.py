"""The commands of the program, grouped by what they are for."""
