"""Room faults."""
