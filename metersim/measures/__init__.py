"""Measures of what a run left: spacing, intervals, tallies, causes, plants. Knows no questions."""
