"""Room store."""
