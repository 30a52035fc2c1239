"""The application over HTTP: who may do what, and what it withstands."""
