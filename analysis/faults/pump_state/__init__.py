"""Room pump_state."""
