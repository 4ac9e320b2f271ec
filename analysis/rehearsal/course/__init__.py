"""Room course."""
