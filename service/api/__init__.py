"""JSON over HTTP: routers, schemas, problem documents, authentication."""
