"""The season behind us, block by block: what was done when, what it cost, what came of it, what to change."""

from orchard.tasks.review.season import BlockReview, SeasonReview, season_review

__all__ = ["BlockReview", "SeasonReview", "season_review"]
