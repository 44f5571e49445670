"""Explore: all that a page shows of a setting, worked out again whenever a setting moves."""
