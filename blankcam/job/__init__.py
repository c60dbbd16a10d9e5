"""What the maker wrote down: lengths, keys, typical values."""
