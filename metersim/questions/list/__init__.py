"""Question `list`: which scenarios, lots, keys and equations are shipped?"""
