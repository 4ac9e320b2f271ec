"""Room exchange."""
