"""Faults of a machine: what they change, what people see of them, and which look alike."""
