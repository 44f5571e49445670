"""What is likely off with a meter, and the one move to make next."""
