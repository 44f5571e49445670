"""Results as text for people, one file a command; nothing here prints."""
