"""What every use case stands on: the turn, members, windows, what a request and a form are."""
