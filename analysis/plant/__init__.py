"""Room plant."""
