"""Measures of runs: spacing, intervals, tallies, causes, plants. No question is known here."""
