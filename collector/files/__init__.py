"""Room files."""
