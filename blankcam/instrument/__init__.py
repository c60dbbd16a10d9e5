"""The instrument from its measurements: board, strings, heights."""
