"""Gas sensors."""
