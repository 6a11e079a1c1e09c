"""What several commands tell with: page templates, PDF, CSV and VCD of runs, counted nouns."""
