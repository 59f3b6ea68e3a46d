"""What is decided about the chemistry of a recipe."""
