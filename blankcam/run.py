"""One job in, a folder of proven files out."""
