"""Operators with habits, on meters that they cannot see into."""
