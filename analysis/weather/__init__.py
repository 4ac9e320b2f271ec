"""Room weather."""
