"""The hierarchical fit of coefficients to published cases; ``python -m tests.validation.fit``."""
