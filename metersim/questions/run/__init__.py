"""How will the seeds lie?"""
