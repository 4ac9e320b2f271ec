"""Room firing."""
