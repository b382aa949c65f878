"""Use cases: what a happening means, what follows from it, what is said and when. One commit per happening.

`hearing` reads happenings, `conduct` applies commands, `reactions` turn facts into messages and due rows, `delivery`
and `alarm` carry out what stands in the two queues. The engine knows ports, domain, analysis and speech; it sees no
SQL and no platform.
"""
