"""Decisions to moves, a file an operation."""
