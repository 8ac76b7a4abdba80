"""The whole description: models, loading, and errors with file and line."""
