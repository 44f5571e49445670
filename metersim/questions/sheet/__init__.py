"""Which disc, and where to start?"""
