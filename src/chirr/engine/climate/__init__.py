"""Temperature where a bin stands."""
