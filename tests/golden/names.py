"""Names that have changed since the golden results were stored."""

RENAMED: dict[str, str] = {}
"""The new name of a key, a column or a word that stands for one, by the name it was stored under.

Empty when the results are stored anew.
"""
