"""How a machine really cuts: a piece cut on it, measured, and what that says."""
