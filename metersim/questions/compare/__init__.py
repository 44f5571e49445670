"""Question `compare`: what changes when a setting changes?"""
