"""The whole OpenAPI document, asked for with made-up requests: `python -m tests.fuzz`."""
