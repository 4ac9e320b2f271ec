"""Room score."""
