"""Labels, run sheets and scale strips as PDF: plain data in, bytes out; no farm, no clock, no framework."""
