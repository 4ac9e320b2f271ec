"""Room journal."""
