"""SVG drawings that come with a model: read, checked, never trusted."""
