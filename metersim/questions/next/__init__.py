"""Question `next`: which move follows from a count?"""
