"""What people still owe, and how they are reminded of it.

`owed` knows what is open, in rounds and in trials; `bundle` says all of it in one message; `rounds` and `trial_words`
are the due rows that lead there, within what `core.allowance` lets anybody be sent.
"""
