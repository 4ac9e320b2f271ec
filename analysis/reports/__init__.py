"""Room reports."""
