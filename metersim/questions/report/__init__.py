"""What an adviser forwards: the answer of a run with all that it rests on, in one file."""
