"""Parts, gauges and dimensions as lines, arcs and words."""
