"""Names that have changed since the golden results were stored."""

RENAMED: dict[str, str] = {
    "by_luck": "usual_most",
    "luck": "sampling",
    "unsure": "uncertain_most",
}
"""The new name of a key, a column or a word that stands for one, by the name it was stored under.

Empty when the results are stored anew.
"""
