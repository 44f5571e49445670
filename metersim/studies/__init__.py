"""Questions asked of scenarios and of runs, one file each."""
