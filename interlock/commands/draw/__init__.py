"""Draw: diagrams of a model as files."""
