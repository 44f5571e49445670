"""The machine, one file a station: its equations, and what binds them to a scenario."""
