"""Payload forms: every byte string is a reading or a refusal with its reason."""
