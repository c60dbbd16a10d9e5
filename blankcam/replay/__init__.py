"""The proof: what a program, replayed, leaves of the stock. Imports nothing of the toolpath."""
