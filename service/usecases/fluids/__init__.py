"""The state of each fluid: followed through services, samples and time."""
