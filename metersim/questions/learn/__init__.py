"""Question `learn`: which machines explain the counts and spacings of a meter?"""
