"""Matrix, encrypted: translates and sends. matrix-nio is used for encryption and for reading syncs, in `crypt` alone;
calls are our own, so that a limit, a refusal and a lost answer are told apart, and nothing is tried for ever."""
