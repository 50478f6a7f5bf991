"""The files that people write: models, loading, safety lint, compile to a core plan."""
