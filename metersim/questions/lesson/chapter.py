"""A chapter of a lesson in words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Chapter:
    """A chapter in words; its figure is drawn from the same numbers.

    Attributes
    ----------
    name, title : str
        Name of its part of the lesson, and its title.
    fact : str
        What it found, in one line.
    sentences : tuple of str
        Two to five sentences on what it found.
    see : str
        What to see in the figure.
    question : str
        Question for the class.
    answer : tuple of str
        Answer, a few sentences.
    """

    name: str
    title: str
    fact: str
    sentences: tuple[str, ...]
    see: str
    question: str
    answer: tuple[str, ...]
