"""Start sheets: which disc, where to start, and what to expect."""
