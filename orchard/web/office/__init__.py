"""The pages of those who plan, keep the store and answer for the season."""
