"""Pure computation: arrays in, arrays out."""
