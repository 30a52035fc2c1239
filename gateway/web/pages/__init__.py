"""What each page shows, made from rows alone: no request, no clock, no store in here."""
