"""Room house."""
