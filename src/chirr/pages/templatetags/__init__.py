"""Template words."""
