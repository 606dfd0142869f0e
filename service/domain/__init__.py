"""The trade's vocabulary and pure rules."""
