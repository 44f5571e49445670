"""A count was made: what is the next move?"""
