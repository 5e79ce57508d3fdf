"""Parts of the screens that are too long for one module: each fetches what it shows, draws it and says it."""
