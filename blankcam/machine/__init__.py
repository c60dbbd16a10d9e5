"""Machine profiles and their tools."""
