"""Question `howmany`: how many seeds must be counted, and how much row dug up?"""
