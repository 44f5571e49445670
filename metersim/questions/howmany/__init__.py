"""How many seeds must be counted, and how much row dug up?"""
