"""Process planning without moves: who makes what, with which tool, feeds and holding."""
