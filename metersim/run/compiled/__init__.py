"""The heavy steps of a run as machine code, by numba: one cell follows the other."""
