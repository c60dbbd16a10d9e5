"""The nut and the saddle as solids: heights, outlines, fits, blanks."""
