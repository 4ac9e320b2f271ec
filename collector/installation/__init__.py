"""Room installation."""
