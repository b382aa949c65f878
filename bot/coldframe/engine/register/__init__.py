"""What was learnt: the register, the digest, the funnel, what a round leaves over; and, in `teams`, how a team stands."""
