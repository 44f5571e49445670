"""The same meter as in `metersim.run.events`, many cells at a time."""
