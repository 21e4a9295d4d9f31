"""A drive in simulated time, to check the load-time model against.

Written from the design page's section 6 and the facts of the trade alone; it imports nothing of
`loadglass` or `formats`, and must stay that way: only strangers' agreement is worth something.
"""
