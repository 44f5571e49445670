"""What changes when a setting changes?"""
