"""The same meter as `metersim.events`, many cells at a time."""
