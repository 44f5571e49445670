"""Question `explain`: what does a scenario ask of its meter?"""
