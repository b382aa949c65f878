"""Use cases: what a happening means, what follows from it, what is said and when. One commit per happening.

`engine` is the front door. `intake` reads happenings and asks `uses`, the one table of all that can be asked, for the
answer. An answer decides and acts inside its turn (`core.turn`); what follows from the facts stands in the tables of
`round` and `trial`. What becomes due is a row, which `delivery` carries out in its moment and `alarm` wakes for; what
is said is a row as well. The folders form layers, held by a contract in pyproject.toml. The engine knows ports, domain,
analysis and speech; it sees no SQL and no platform.
"""
