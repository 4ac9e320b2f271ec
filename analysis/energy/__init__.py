"""Room energy."""
