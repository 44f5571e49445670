"""Runs of a meter: random draws, records and two engines (events in time, and whole arrays)."""
