"""How good the projections were: scores, calibration and plain baselines."""
