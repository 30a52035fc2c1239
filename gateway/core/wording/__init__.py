"""The words for what people are told; the same on the phone, on the page and in the record."""
