"""The board: what `deploy/` puts there, tried against a real broker and from an installed wheel."""
