"""After stringing: what is taken off next, or done; each refit proven, written, entered in the
book.
"""
