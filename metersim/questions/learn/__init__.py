"""Question `learn`: what do counts and spacings of a meter say of this machine?"""
