"""Room statistics."""
