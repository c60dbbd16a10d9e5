"""Everything that is shown or written down: tables, drawings, papers."""
