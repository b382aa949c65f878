"""What was learnt: the register, the digest, the funnel, what a round leaves over. `teams` tells how a team stands."""
