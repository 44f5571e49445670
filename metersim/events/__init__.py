"""The meter as processes in time."""
