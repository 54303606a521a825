"""Leaf curl and cover: which wet spells could infect, what rain left of a spray, when to spray again."""
