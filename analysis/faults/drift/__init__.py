"""Room drift."""
