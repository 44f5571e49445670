"""Where are the best settings, and what is acceptable?"""
