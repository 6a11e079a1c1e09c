"""Tables of other people, CSV and XLSX: read with the place of each cell, and written."""
