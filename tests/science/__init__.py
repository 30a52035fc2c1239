"""Physics and hygiene, held against sources outside."""
