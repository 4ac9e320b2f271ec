"""Room savings."""
