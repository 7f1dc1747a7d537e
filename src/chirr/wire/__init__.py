"""How a phone reaches the farm's computer: its addresses, the farm's own certificate authority, the set-up port.

Stands alone: no framework, no book, nothing of the farm but its name.
"""
