"""Answers that were given once and are given again to the same request."""

from django.db import models


class KeptAnswer(models.Model):
    """The first answer to a POST with an Idempotency-Key, written in the transaction of its effect."""

    caller = models.CharField(max_length=60)
    method = models.CharField(max_length=10)
    path = models.CharField(max_length=400)
    key = models.CharField(max_length=255)
    digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict)
    body = models.JSONField(null=True)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=("caller", "method", "path", "key"), name="a_key_is_answered_once_per_caller_and_path"
            )
        ]
        indexes = [models.Index(fields=("created_at",), name="kept_answers_by_age")]

    def __str__(self) -> str:
        return f"{self.method} {self.path}"
