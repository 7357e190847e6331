"""One module a fault, each with `find(evidence)`; `find_all` asks them all."""
