"""Parts of the Logs screen: what came in, a log brought in by hand."""
