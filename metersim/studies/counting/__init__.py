"""What is set, counted and cannot be seen of a meter, and what a count can tell."""
