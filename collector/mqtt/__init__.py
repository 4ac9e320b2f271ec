"""Room mqtt."""
