"""From syntax trees to files of the open XML exchange format, drawn where that is asked for."""
