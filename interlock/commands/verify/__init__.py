"""Verify, the main job: explore, judge, tell, write results and evidence."""
