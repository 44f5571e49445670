"""What a mutant is."""

from dataclasses import dataclass
from pathlib import Path

OF_ONE_ENGINE = ("run.events", "run.hole", "run.meter", "run.arrays.")


@dataclass(frozen=True)
class Mutant:
    """The program with one thing wrong.

    Attributes
    ----------
    name : str
        What is wrong, in a few words.
    module : str
        Module of `metersim` that is changed.
    old, new : str
        A fragment that stands in its code once, and what is put in its place.
    tests : str
        Tests that must notice, with blanks between them.
    why : str
        What would go wrong for a user.
    """

    name: str
    module: str
    old: str
    new: str
    tests: str
    why: str

    @property
    def path(self) -> Path:
        """File that is changed, from the top of the repository."""
        return Path("metersim", *self.module.split(".")).with_suffix(".py")

    @property
    def shared(self) -> bool:
        """Whether both engines are wrong, so that their equality cannot notice."""
        return not self.module.startswith(OF_ONE_ENGINE)
