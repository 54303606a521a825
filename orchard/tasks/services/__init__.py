"""Writing work orders, their loads, application records and incidents: one module a subject."""
