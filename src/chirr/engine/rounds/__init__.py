"""What falls due, how long it takes, in which order: plain numbers and dates in, jobs and a walk out.

`days` knows the farm's turns, `care`, `trays` and `lots` say what falls due and why, `order` puts the stops on a
walk and says how far the people of the day get, `minutes` what each deed should take.
"""
