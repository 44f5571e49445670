"""Parts that several questions share."""
