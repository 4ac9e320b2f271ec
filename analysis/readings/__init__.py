"""Room readings."""
