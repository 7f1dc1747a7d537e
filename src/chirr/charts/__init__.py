"""Results as chart specifications: plain dictionaries."""
