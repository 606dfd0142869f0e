"""Life used by distance, time, hours and temperature."""
