"""How gunicorn runs the web process, alone under `manage.py serve` as in an image.

One process with many threads: a reader of the change feed that waits holds a thread and little else.
WEB_CONCURRENCY asks for more processes.
"""

import os

workers = int(os.environ.get("WEB_CONCURRENCY", "1"))
worker_class = "gthread"
threads = 24  # each may hold one of PostgreSQL's 100 connections
timeout = 60
graceful_timeout = 8
keepalive = 5
loglevel = os.environ.get("LOG_LEVEL", "WARNING").lower()
control_socket_disable = True  # it would lie in the home folder of whoever runs us

limit_request_line = 8190  # the longest that gunicorn reads; a longer address is a 414
