"""How a fluid is best exchanged: rounds, line exchange, intervals."""
