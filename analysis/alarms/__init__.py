"""Room alarms."""
