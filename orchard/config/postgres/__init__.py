"""Django's PostgreSQL backend on the server that the project starts for itself, and what runs that server."""
