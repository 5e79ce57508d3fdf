"""What `morningwatch` can do, a module a group of commands; `pipeline.cli` puts them together."""
