"""Room parts."""
