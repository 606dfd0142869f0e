"""The clock, the claimed run, the weekly run, deliveries and workers."""
