"""Room letters."""
