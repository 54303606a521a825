"""What is printed of crew work: tank sheets, posting notices and record pages, as data and as PDF."""
