"""Request and answer models, one file a resource."""
