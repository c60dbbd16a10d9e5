"""What the maker and the machine's owner wrote down, read and checked at one border."""
