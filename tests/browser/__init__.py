"""Errands of a visitor, each in a real browser against a server of its own."""
