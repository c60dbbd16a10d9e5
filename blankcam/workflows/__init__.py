"""Files in, a folder out."""
