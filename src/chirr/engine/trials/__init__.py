"""Planning and judging a comparison of two ways of working."""
