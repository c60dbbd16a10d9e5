"""The plan: operations, moves, feeds and time."""
