"""From the text of a case file to a `Case`: what the user wrote, understood."""
