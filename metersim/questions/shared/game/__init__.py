"""A meter with a hidden fault: counts, guesses, moves, and the truth at the end."""
