"""One module a screen: title, guard, parameters, fetch, draw."""
