"""What a look, a smell and a laboratory add to the estimate."""
