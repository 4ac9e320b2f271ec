"""Room notify."""
