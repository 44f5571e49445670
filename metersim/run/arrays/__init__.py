"""The meter of `metersim.run.events` in whole arrays: many cells at a time."""
