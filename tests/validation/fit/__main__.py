"""``python -m tests.validation.fit``; calls of other processes need a module with a name."""

from tests.validation.fit.command import main

if __name__ == "__main__":
    main()
