"""Guide: pages that ship with the program, one a topic."""
