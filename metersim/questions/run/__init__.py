"""Question `run`: how will the seeds lie?"""
