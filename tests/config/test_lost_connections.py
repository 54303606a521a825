"""A server that goes away between two requests: the next one connects anew."""

import psycopg
import pytest
from django.db import connection, connections

from orchard.config import preparation

pytestmark = pytest.mark.django_db(transaction=True)


def end_of(process):
    with preparation.administration(connections["owner"]) as server:
        server.execute("SELECT pg_terminate_backend(%s, 5000)", [process])


def number_of_process():
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        return cursor.fetchone()[0]


def test_a_connection_that_the_server_holds_is_used_again():
    first = number_of_process()

    assert connection.is_usable()
    assert number_of_process() == first


def test_a_connection_that_the_server_ended_is_seen_to_be_lost():
    end_of(number_of_process())

    assert not connection.is_usable()
    connection.close()
    assert number_of_process()


def test_a_word_that_the_server_sent_unasked_is_no_loss():
    with connection.cursor() as cursor:
        cursor.execute("LISTEN something")
    with psycopg.connect(**connections["owner"].get_connection_params()) as other:
        other.execute("NOTIFY something")

    assert connection.is_usable()
