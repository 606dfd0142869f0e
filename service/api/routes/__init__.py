"""One thin router a resource."""
