"""The pages of a crew: today, one work order, what was sent, and telling of a danger."""
