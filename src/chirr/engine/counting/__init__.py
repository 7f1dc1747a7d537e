"""From a sample or a photograph to a number with an interval."""
