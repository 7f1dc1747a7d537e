"""Numbers only: arrays in, arrays out; no framework, clock, file of the farm or environment variable."""
