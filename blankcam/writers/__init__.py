"""Everything that is written down: programs, drawings, lists."""
