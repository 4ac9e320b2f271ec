"""Room pump."""
