"""Room command_line."""
