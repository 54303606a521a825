"""One real winter for the demonstration: weather and bud dates of one station, and the story on them."""
