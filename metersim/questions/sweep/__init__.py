"""Question `sweep`: where are the best settings, and what is acceptable?"""
