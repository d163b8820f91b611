"""What the report tells, in the order of the day: the same blocks for the page and the PDF."""
