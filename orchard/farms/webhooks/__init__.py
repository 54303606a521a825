"""Events for other systems, as Standard Webhooks (specification 1.0.0, 2023) signs them."""
