"""The lists and sheets for the bench."""
