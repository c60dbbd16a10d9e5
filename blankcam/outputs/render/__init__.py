"""Writers of a format, which know no trade."""
