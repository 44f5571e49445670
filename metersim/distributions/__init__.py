"""Distributions of numbers, worked out with numpy alone; knows nothing else."""
