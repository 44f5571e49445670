"""Question `sheet`: which disc suits a lot, and which settings to start with?"""
