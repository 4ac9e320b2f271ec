"""Room instruments."""
