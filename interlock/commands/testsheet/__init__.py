"""The commissioning sheet: what is to be tried in the yard, in few steps, and what must be seen."""
