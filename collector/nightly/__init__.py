"""Room nightly."""
