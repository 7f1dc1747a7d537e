"""Belief and ahead: cohorts through time, learning from facts, forecast draws."""
