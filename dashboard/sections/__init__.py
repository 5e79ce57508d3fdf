"""The sections of the engine screen: each fetches what it shows, draws it and says it in a sentence."""
