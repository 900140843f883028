"""A `Study` told: on the screen, as Markdown, as a figure, for machines."""
