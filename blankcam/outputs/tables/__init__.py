"""Computed values as rows."""
