"""Published cases, what the model gives for them, and what that is worth."""
