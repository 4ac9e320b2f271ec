"""Room payloads."""
