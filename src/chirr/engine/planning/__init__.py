"""What to do differently, from joint draws of what is believed: how long to leave a tray in and how many trays a bin
deserves, when breeders have had their day and what follows them, the day on which a lot is best harvested.

Nothing here learns: belief comes in as draws, a decision goes out with its band and its chance of being the better one.
"""
