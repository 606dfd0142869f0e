"""What an operator can set, from the environment with the prefix SUMPWISE_."""
