"""Rendered photos with exact truth, and what the tool makes of them."""
