"""A blind test of the diagnosis: machines with a known fault, frozen before it was first run."""
