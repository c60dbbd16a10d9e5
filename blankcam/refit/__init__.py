"""After stringing: what to take off, and what was taken."""
