"""A trial from the commitment to its review.

`starting` begins it in one of the team's `places`; `ownership`, `weekly` and `reviews` each hold their own buttons,
forms and due work; `schedule` says which words about it come due, and `reminding` says them; `reactions` is the table
of what follows from its facts.
"""
