"""What is said of what was learnt: the digest and the register."""
