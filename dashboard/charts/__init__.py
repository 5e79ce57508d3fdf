"""Everything that is drawn. One function makes the rows, another the picture, so numbers are tested without drawing."""
