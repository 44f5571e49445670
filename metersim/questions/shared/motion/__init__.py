"""The disc in motion: its numbers from the records of a run, and a canvas that draws them."""
